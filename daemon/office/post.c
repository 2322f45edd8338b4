/* SPDX-License-Identifier: Apache-2.0 */
#include "post_internal.h"

#include <arpa/inet.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#define CONNECT_MS 10000L
#define TRANSFER_MS 30000L
#define ALL_MS 60000
#define STOPPING_MS 2000

static int64_t monotonic_ms(void)
{
	struct timespec t;

	clock_gettime(CLOCK_MONOTONIC, &t);
	return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

/* -- where ------------------------------------------------------------------------------------- */

static bool is_loopback(char *host)
{
	struct in_addr four;
	struct in6_addr six;
	const size_t length = strlen(host);

	if (host[0] == '[' && length > 2) {
		host[length - 1] = '\0';
		return inet_pton(AF_INET6, host + 1, &six) == 1 && IN6_IS_ADDR_LOOPBACK(&six);
	}
	return strcmp(host, "localhost") == 0
	       || (inet_pton(AF_INET, host, &four) == 1 && ntohl(four.s_addr) >> 24 == 127);
}

bool pw_post_loopback(const char *url)
{
	CURLU *parts = curl_url();
	char *host = NULL;
	bool is = false;

	if (parts != NULL && curl_url_set(parts, CURLUPART_URL, url, 0) == CURLUE_OK
	    && curl_url_get(parts, CURLUPART_HOST, &host, 0) == CURLUE_OK)
		is = is_loopback(host);
	curl_free(host);
	curl_url_cleanup(parts);
	return is;
}

int pw_post_secret(const char *path, size_t least, char secret[PW_POST_SECRET_MAX], char *why,
		   size_t size)
{
	FILE *file = path[0] != '\0' ? fopen(path, "re") : NULL;
	bool read;

	if (path[0] == '\0') {
		snprintf(why, size, "expected the name of a file with the secret in office.conf");
		return -1;
	}
	if (file == NULL) {
		snprintf(why, size, "%.150s: %s", path, strerror(errno));
		return -1;
	}
	read = fgets(secret, PW_POST_SECRET_MAX, file) != NULL;
	fclose(file);
	if (read && strlen(secret) < PW_POST_SECRET_MAX - 1) {
		secret[strcspn(secret, "\r\n")] = '\0';
		if (strlen(secret) >= least)
			return 0;
	}
	snprintf(why, size, "%.150s: expected one line of %zu to %d characters", path, least,
		 PW_POST_SECRET_MAX - 2);
	return -1;
}

/* -- a transfer -------------------------------------------------------------------------------- */

/* What is nearly through may end: else it would be told once more after the stop. */
static int give_up(void *ctx, curl_off_t down_all, curl_off_t down, curl_off_t up_all,
		   curl_off_t up)
{
	struct pw_post *p = ctx;

	(void)down_all, (void)down, (void)up_all, (void)up;
	if (atomic_load(p->stop) && p->ends_ms > monotonic_ms() + STOPPING_MS)
		p->ends_ms = monotonic_ms() + STOPPING_MS;
	return monotonic_ms() >= p->ends_ms;
}

/* What is answered besides the status is of no use here. */
static size_t discard(char *text, size_t size, size_t count, void *ctx)
{
	(void)text, (void)ctx;
	return size * count;
}

int pw_post_open(struct pw_post *p, const char *url, const char *protocols, const atomic_bool *stop)
{
	const char *certificates = getenv("SSL_CERT_FILE");
	CURLcode result;

	*p = (struct pw_post){ .curl = curl_easy_init(), .stop = stop,
			       .ends_ms = monotonic_ms() + ALL_MS };
	if (p->curl == NULL)
		return -1;
	result = curl_easy_setopt(p->curl, CURLOPT_URL, url);
	if (result == CURLE_OK)
		result = curl_easy_setopt(p->curl, CURLOPT_PROTOCOLS_STR, protocols);
	if (result == CURLE_OK && certificates != NULL)
		result = curl_easy_setopt(p->curl, CURLOPT_CAINFO, certificates);
	if (result == CURLE_OK && pw_post_loopback(url))
		result = curl_easy_setopt(p->curl, CURLOPT_PROXY, "");
	if (result != CURLE_OK) {
		pw_post_close(p);
		return -1;
	}
	curl_easy_setopt(p->curl, CURLOPT_ERRORBUFFER, p->error);
	curl_easy_setopt(p->curl, CURLOPT_NOSIGNAL, 1L);
	curl_easy_setopt(p->curl, CURLOPT_SSLVERSION, (long)CURL_SSLVERSION_TLSv1_2);
	curl_easy_setopt(p->curl, CURLOPT_CONNECTTIMEOUT_MS, CONNECT_MS);
	curl_easy_setopt(p->curl, CURLOPT_WRITEFUNCTION, discard);
	if (stop != NULL) {
		curl_easy_setopt(p->curl, CURLOPT_XFERINFOFUNCTION, give_up);
		curl_easy_setopt(p->curl, CURLOPT_XFERINFODATA, p);
		curl_easy_setopt(p->curl, CURLOPT_NOPROGRESS, 0L);
	}
	return 0;
}

void pw_post_close(struct pw_post *p)
{
	curl_easy_cleanup(p->curl);
	p->curl = NULL;
}

int pw_post_run(struct pw_post *p, char *why, size_t size)
{
	const int64_t left_ms = p->ends_ms - monotonic_ms();
	CURLcode result;

	if (left_ms <= 0) {
		snprintf(why, size, "it took more than %d s", ALL_MS / 1000);
		return -1;
	}
	p->error[0] = '\0';
	curl_easy_setopt(p->curl, CURLOPT_TIMEOUT_MS,
			 left_ms < TRANSFER_MS ? (long)left_ms : TRANSFER_MS);
	result = curl_easy_perform(p->curl);
	if (result == CURLE_OK)
		return 0;
	snprintf(why, size, "%.190s", p->error[0] != '\0' ? p->error : curl_easy_strerror(result));
	return -1;
}
