/* SPDX-License-Identifier: Apache-2.0 */
/* One request to the office and what came back, by libcurl. */
#include "uplink_internal.h"

#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define RETRY_MOST_S 3600 /* an office that asks for more is asked again all the same */

const struct pw_patience pw_patience = {
	.connect_s = 20, .whole_s = 180, .slow_bytes_s = 256, .slow_s = 30,
};

/* -- opening ----------------------------------------------------------------------------------- */

/* Room for n more and a zero, doubled: an answer in small pieces is not copied with each. */
static bool make_room(struct pw_link *link, size_t n)
{
	size_t size = link->size > 0 ? link->size : 4096;
	char *more;

	while (size < link->length + n + 1)
		size *= 2;
	if (size == link->size)
		return true;
	more = realloc(link->text, size);
	if (more == NULL)
		return false;
	link->text = more;
	link->size = size;
	return true;
}

static size_t take(char *data, size_t one, size_t count, void *ctx)
{
	struct pw_link *link = ctx;
	const size_t n = one * count;

	link->too_long = n > PW_ANSWER_MAX - link->length;
	if (link->too_long || !make_room(link, n))
		return 0;
	memcpy(link->text + link->length, data, n);
	link->length += n;
	link->text[link->length] = '\0';
	return n;
}

/* Nothing of the environment, no other protocol, nobody else's address. */
static CURLcode set_manners(struct pw_link *link, const struct pw_patience *p)
{
	const struct { CURLoption what; long value; } numbers[] = {
		{ CURLOPT_NOSIGNAL, 1 }, { CURLOPT_FOLLOWLOCATION, 0 },
		{ CURLOPT_DISALLOW_USERNAME_IN_URL, 1 }, { CURLOPT_PATH_AS_IS, 1 },
		{ CURLOPT_HTTP_VERSION, CURL_HTTP_VERSION_1_1 },
		{ CURLOPT_SSLVERSION, CURL_SSLVERSION_TLSv1_2 },
		{ CURLOPT_CONNECTTIMEOUT, p->connect_s }, { CURLOPT_TIMEOUT, p->whole_s },
		{ CURLOPT_LOW_SPEED_LIMIT, p->slow_bytes_s }, { CURLOPT_LOW_SPEED_TIME, p->slow_s },
		{ CURLOPT_MAXFILESIZE, PW_ANSWER_MAX }, { CURLOPT_TCP_KEEPALIVE, 1 },
	};
	const struct { CURLoption what; const char *value; } texts[] = {
		{ CURLOPT_PROTOCOLS_STR, "http,https" }, { CURLOPT_PROXY, "" },
		{ CURLOPT_USERAGENT, "postwalk" },
	};
	CURLcode code = CURLE_OK;

	for (size_t i = 0; i < sizeof(numbers) / sizeof(numbers[0]) && code == CURLE_OK; i++)
		code = curl_easy_setopt(link->curl, numbers[i].what, numbers[i].value);
	for (size_t i = 0; i < sizeof(texts) / sizeof(texts[0]) && code == CURLE_OK; i++)
		code = curl_easy_setopt(link->curl, texts[i].what, texts[i].value);
	return code;
}

/* A pin alone says which key the server must have: then its certificate's issuer, name and dates
 * say nothing more. Without one the issuers are those of ca, or the system's; never both. */
static CURLcode set_trust(struct pw_link *link, const char *pem)
{
	const long checked = pem != NULL || link->place.pin[0] == '\0';
	struct curl_blob blob = { .flags = CURL_BLOB_COPY };
	CURLcode code = curl_easy_setopt(link->curl, CURLOPT_SSL_VERIFYPEER, checked);

	if (code == CURLE_OK)
		code = curl_easy_setopt(link->curl, CURLOPT_SSL_VERIFYHOST, checked ? 2L : 0L);
	if (code == CURLE_OK && link->place.pin[0] != '\0')
		code = curl_easy_setopt(link->curl, CURLOPT_PINNEDPUBLICKEY, link->place.pin);
	if (code != CURLE_OK || pem == NULL)
		return code;
	blob.data = (void *)(uintptr_t)pem;
	blob.len = strlen(pem);
	code = curl_easy_setopt(link->curl, CURLOPT_CAPATH, NULL);
	if (code == CURLE_OK)
		code = curl_easy_setopt(link->curl, CURLOPT_CAINFO, NULL);
	if (code == CURLE_OK)
		code = curl_easy_setopt(link->curl, CURLOPT_CAINFO_BLOB, &blob);
	return code;
}

static CURLcode set_ends(struct pw_link *link)
{
	CURLcode code = curl_easy_setopt(link->curl, CURLOPT_WRITEFUNCTION, take);

	if (code == CURLE_OK)
		code = curl_easy_setopt(link->curl, CURLOPT_WRITEDATA, link);
	if (code == CURLE_OK)
		code = curl_easy_setopt(link->curl, CURLOPT_ERRORBUFFER, link->error);
	if (code == CURLE_OK)
		code = curl_easy_setopt(link->curl, CURLOPT_CURLU, link->url);
	return code;
}

static int set_up(struct pw_link *link, const struct pw_patience *patience, const char *pem,
		  char *why, size_t size)
{
	CURLcode code = CURLE_OUT_OF_MEMORY;

	link->curl = curl_easy_init();
	link->url = curl_url();
	if (link->curl != NULL && link->url != NULL
	    && curl_url_set(link->url, CURLUPART_URL, link->place.url, 0) == CURLUE_OK)
		code = set_manners(link, patience);
	if (code == CURLE_OK)
		code = set_trust(link, pem);
	if (code == CURLE_OK)
		code = set_ends(link);
	if (code != CURLE_OK)
		snprintf(why, size, "no link can be made: %s", curl_easy_strerror(code));
	return code == CURLE_OK ? 0 : -1;
}

int pw_link_open(const struct pw_place *p, const struct pw_patience *patience, struct pw_link **out,
		 char *why, size_t size)
{
	struct pw_link *link;
	char *pem;
	int result = pw_place_check(p, why, size);

	*out = NULL;
	if (result < 0 || (result = pw_place_trust(p, &pem, why, size)) < 0)
		return result;
	curl_global_init(CURL_GLOBAL_DEFAULT);
	link = calloc(1, sizeof(*link));
	if (link == NULL) {
		snprintf(why, size, "out of memory");
		result = -1;
	} else {
		link->place = *p;
		result = set_up(link, patience, pem, why, size);
	}
	free(pem);
	if (result < 0)
		pw_link_close(link);
	else
		*out = link;
	return result;
}

void pw_link_close(struct pw_link *link)
{
	if (link == NULL)
		return;
	curl_easy_cleanup(link->curl);
	curl_url_cleanup(link->url);
	free(link->text);
	sodium_memzero(link, sizeof(*link));
	free(link);
}

/* -- asking ------------------------------------------------------------------------------------ */

static bool add_header(struct curl_slist **all, const char *name, const char *value)
{
	char line[PW_TOKEN_MAX + 64];
	struct curl_slist *more;

	snprintf(line, sizeof(line), "%s%s", name, value);
	more = curl_slist_append(*all, line);
	sodium_memzero(line, sizeof(line));
	if (more != NULL)
		*all = more;
	return more != NULL;
}

/* An office is not asked whether it would take a body ("Expect:" takes that away). */
static struct curl_slist *headers_of(const struct pw_link *link, const struct pw_question *q)
{
	struct curl_slist *all = NULL;

	if (add_header(&all, "Expect:", "")
	    && (link->place.token[0] == '\0'
		|| add_header(&all, "Authorization: Bearer ", link->place.token))
	    && (q->body == NULL || add_header(&all, "Content-Type: ", q->type))
	    && (!q->packed || add_header(&all, "Content-Encoding: ", "zstd")))
		return all;
	curl_slist_free_all(all);
	return NULL;
}

static bool set_question(struct pw_link *link, const struct pw_question *q,
			 struct curl_slist *headers)
{
	CURL *curl = link->curl;

	if (curl_url_set(link->url, CURLUPART_PATH, q->path, 0) != CURLUE_OK
	    || curl_url_set(link->url, CURLUPART_QUERY, q->query, 0) != CURLUE_OK
	    || curl_easy_setopt(curl, CURLOPT_HTTPHEADER, headers) != CURLE_OK)
		return false;
	if (q->body == NULL)
		return curl_easy_setopt(curl, CURLOPT_HTTPGET, 1L) == CURLE_OK;
	return curl_easy_setopt(curl, CURLOPT_POST, 1L) == CURLE_OK
	       && curl_easy_setopt(curl, CURLOPT_POSTFIELDS, q->body) == CURLE_OK
	       && curl_easy_setopt(curl, CURLOPT_POSTFIELDSIZE_LARGE,
				   (curl_off_t)q->length) == CURLE_OK;
}

static bool is_stranger(CURLcode code)
{
	static const CURLcode strange[] = {
		CURLE_PEER_FAILED_VERIFICATION, CURLE_SSL_PINNEDPUBKEYNOTMATCH,
		CURLE_SSL_ISSUER_ERROR, CURLE_SSL_CACERT_BADFILE, CURLE_SSL_INVALIDCERTSTATUS,
	};

	for (size_t i = 0; i < sizeof(strange) / sizeof(strange[0]); i++)
		if (code == strange[i])
			return true;
	return false;
}

/* X509_V_ERR_CERT_NOT_YET_VALID and X509_V_ERR_CERT_HAS_EXPIRED of openssl-verify(1ssl). */
static bool is_of_dates(CURL *curl)
{
	long result = 0;

	curl_easy_getinfo(curl, CURLINFO_SSL_VERIFYRESULT, &result);
	return result == 9 || result == 10;
}

static void say_failure(struct pw_link *link, CURLcode code, struct pw_reply *reply)
{
	const char *words = link->error[0] ? link->error : curl_easy_strerror(code);

	if (is_stranger(code))
		pw_reply_set(reply, PW_SAID_STRANGER, "who answers is not the office: %s%s", words,
			     is_of_dates(link->curl) ? " (or this bus's clock is wrong)" : "");
	else if (link->too_long || code == CURLE_FILESIZE_EXCEEDED)
		pw_reply_set(reply, PW_SAID_LATER, "the answer is longer than %d bytes",
			     PW_ANSWER_MAX);
	else
		pw_reply_set(reply, PW_SAID_LATER, "the office is not reached: %s", words);
}

static void take_head(struct pw_link *link, struct pw_answer *a)
{
	curl_off_t retry_s = 0;

	curl_easy_getinfo(link->curl, CURLINFO_RESPONSE_CODE, &a->status);
	curl_easy_getinfo(link->curl, CURLINFO_RETRY_AFTER, &retry_s);
	a->retry_s = retry_s < 0 ? 0 : retry_s > RETRY_MOST_S ? RETRY_MOST_S : (int)retry_s;
	a->text = link->text != NULL ? link->text : "";
	a->length = link->length;
}

bool pw_link_ask(struct pw_link *link, const struct pw_question *q, struct pw_answer *a,
		 struct pw_reply *reply)
{
	struct curl_slist *headers = headers_of(link, q);
	CURLcode code = CURLE_OUT_OF_MEMORY;

	memset(reply, 0, sizeof(*reply));
	memset(a, 0, sizeof(*a));
	link->error[0] = '\0';
	link->length = 0;
	link->too_long = false;
	if (headers != NULL && set_question(link, q, headers))
		code = curl_easy_perform(link->curl);
	curl_easy_setopt(link->curl, CURLOPT_HTTPHEADER, NULL);
	curl_slist_free_all(headers);
	take_head(link, a);
	if (code != CURLE_OK)
		say_failure(link, code, reply);
	return code == CURLE_OK;
}
