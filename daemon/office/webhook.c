/* SPDX-License-Identifier: Apache-2.0 */
/* What is told as one POST of JSON, signed; docs/alerts.md is for who receives it. */
#include "tell_internal.h"

#include <jansson.h>
#include <sodium.h>
#include <stdlib.h>
#include <string.h>

#include "post_internal.h"

#define SECRET_LEAST 16

void pw_webhook_sign(const char *secret, int64_t time_s, const char *body, char hex[65])
{
	crypto_auth_hmacsha256_state state;
	unsigned char sum[crypto_auth_hmacsha256_BYTES];
	char begins[24];

	snprintf(begins, sizeof(begins), "%lld.", (long long)time_s);
	crypto_auth_hmacsha256_init(&state, (const unsigned char *)secret, strlen(secret));
	crypto_auth_hmacsha256_update(&state, (const unsigned char *)begins, strlen(begins));
	crypto_auth_hmacsha256_update(&state, (const unsigned char *)body, strlen(body));
	crypto_auth_hmacsha256_final(&state, sum);
	sodium_bin2hex(hex, 65, sum, sizeof(sum));
}

/* -- the body ---------------------------------------------------------------------------------- */

static json_t *moment(int64_t ms)
{
	char stamp[PW_HOURS_TEXT_MAX];

	pw_hours_stamp(ms, stamp);
	return ms != 0 && stamp[0] != '\0' ? json_string(stamp) : json_null();
}

static void set_record(json_t *body, const struct pw_matter *m)
{
	if (m->seq == 0)
		return;
	json_object_set_new(body, "epoch", json_string(m->epoch));
	json_object_set_new(body, "seq", json_integer((json_int_t)m->seq));
	json_object_set_new(body, "hash", json_string(m->hash));
}

static void set_matter(json_t *body, const struct pw_matter *m)
{
	json_object_set_new(body, "matter", json_integer((json_int_t)m->id));
	json_object_set_new(body, "about", json_string(pw_matter_name(m->kind)));
	json_object_set_new(body, "bus", json_string(m->bus));
	set_record(body, m);
	json_object_set_new(body, "at", moment(m->at_ms));
	json_object_set_new(body, "came", moment(m->came_ms));
	if (m->taken_ms == 0)
		return;
	json_object_set_new(body, "taken", moment(m->taken_ms));
	json_object_set_new(body, "taken_by", json_string(m->taken_by));
}

static void set_day(json_t *body, int32_t day)
{
	char text[16];

	snprintf(text, sizeof(text), "%04d-%02d-%02d", (int)(day / 10000), (int)(day / 100 % 100),
		 (int)(day % 100));
	json_object_set_new(body, "day", json_string(text));
}

char *pw_webhook_body(const struct pw_news *n)
{
	json_t *body = json_object();
	char *text;

	json_object_set_new(body, "id", json_string(n->id));
	json_object_set_new(body, "kind", json_string(n->kind));
	json_object_set_new(body, "telling", json_integer(n->telling));
	json_object_set_new(body, "urgent", json_boolean(n->urgent));
	if (n->matter.id != 0)
		set_matter(body, &n->matter);
	if (n->day != 0)
		set_day(body, n->day);
	json_object_set_new(body, "words", json_string(n->words));
	text = json_dumps(body, JSON_COMPACT | JSON_PRESERVE_ORDER);
	json_decref(body);
	return text;
}

/* -- sending ----------------------------------------------------------------------------------- */

static struct curl_slist *add_header(struct curl_slist *list, const char *name, const char *value)
{
	struct curl_slist *longer;
	char line[160];

	snprintf(line, sizeof(line), "%s: %s", name, value);
	longer = curl_slist_append(list, line);
	if (longer == NULL)
		curl_slist_free_all(list);
	return longer;
}

static struct curl_slist *headers(const struct pw_news *n, const char *secret, int64_t time_s,
				  const char *body)
{
	const char *const fixed[][2] = {
		{ "Content-Type", "application/json" }, { "User-Agent", "postwalk-office" },
		{ "Expect", "" }, { "Postwalk-Id", n->id },
	};
	struct curl_slist *list = NULL;
	char hex[65], time_text[24];

	pw_webhook_sign(secret, time_s, body, hex);
	snprintf(time_text, sizeof(time_text), "%lld", (long long)time_s);
	list = add_header(NULL, "Postwalk-Time", time_text);
	if (list != NULL)
		list = add_header(list, "Postwalk-Signature", hex);
	for (size_t i = 0; list != NULL && i < sizeof(fixed) / sizeof(fixed[0]); i++)
		list = add_header(list, fixed[i][0], fixed[i][1]);
	return list;
}

/* 2xx and nothing else says that somebody has it. */
static int judge(struct pw_post *p, char *why, size_t size)
{
	long status = 0;

	curl_easy_getinfo(p->curl, CURLINFO_RESPONSE_CODE, &status);
	if (status >= 200 && status <= 299)
		return 0;
	snprintf(why, size, "the receiver answered %ld%s", status,
		 status >= 300 && status <= 399 ? ", and redirects are not followed" : "");
	return -1;
}

static int post(const struct pw_office_conf *c, const char *body, struct curl_slist *list,
		const atomic_bool *stop, char *why, size_t size)
{
	const char *protocols = pw_post_loopback(c->webhook) ? "http,https" : "https";
	struct pw_post p;
	int result;

	if (pw_post_open(&p, c->webhook, protocols, stop) < 0) {
		snprintf(why, size, "url in [webhook]: expected https://..., not \"%.120s\"",
			 c->webhook);
		return -1;
	}
	curl_easy_setopt(p.curl, CURLOPT_POSTFIELDS, body);
	curl_easy_setopt(p.curl, CURLOPT_POSTFIELDSIZE, (long)strlen(body));
	curl_easy_setopt(p.curl, CURLOPT_HTTPHEADER, list);
	result = pw_post_run(&p, why, size);
	if (result == 0)
		result = judge(&p, why, size);
	pw_post_close(&p);
	return result;
}

bool pw_webhook_wanted(const struct pw_office_conf *c)
{
	return c->webhook[0] != '\0';
}

int pw_webhook_send(const struct pw_office_conf *c, const struct pw_news *n, int64_t now_ms,
		    const atomic_bool *stop, char *why, size_t size)
{
	char secret[PW_POST_SECRET_MAX];
	struct curl_slist *list = NULL;
	char *body;
	int result = -1;

	why[0] = '\0';
	if (pw_post_secret(c->webhook_secret_file, SECRET_LEAST, secret, why, size) < 0)
		return -1;
	body = pw_webhook_body(n);
	if (body != NULL)
		list = headers(n, secret, now_ms / 1000, body);
	if (list != NULL)
		result = post(c, body, list, stop, why, size);
	else
		snprintf(why, size, "memory is short");
	curl_slist_free_all(list);
	free(body);
	sodium_memzero(secret, sizeof(secret));
	return result;
}
