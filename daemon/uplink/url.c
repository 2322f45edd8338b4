/* SPDX-License-Identifier: Apache-2.0 */
/* The address of an office: https://HOST[:PORT], or http:// where nobody can listen in between. */
#include "uplink_internal.h"

#include <arpa/inet.h>
#include <stdio.h>
#include <string.h>

#define FORM "https://HOST[:PORT]"

static bool is_loopback(const char *host)
{
	struct in_addr a;

	if (strcmp(host, "localhost") == 0 || strcmp(host, "[::1]") == 0)
		return true;
	return inet_pton(AF_INET, host, &a) == 1 && ntohl(a.s_addr) >> 24 == 127;
}

static bool has(CURLU *u, CURLUPart part)
{
	char *text = NULL;
	bool there = curl_url_get(u, part, &text, 0) == CURLUE_OK;

	curl_free(text);
	return there;
}

/* Scheme, host and port, and nothing else. */
static bool is_bare(CURLU *u)
{
	static const CURLUPart others[] = { CURLUPART_USER, CURLUPART_PASSWORD, CURLUPART_QUERY,
					    CURLUPART_FRAGMENT };
	char *path = NULL;
	bool bare = curl_url_get(u, CURLUPART_PATH, &path, 0) == CURLUE_OK
		    && strcmp(path, "/") == 0;

	curl_free(path);
	for (size_t i = 0; i < sizeof(others) / sizeof(others[0]); i++)
		bare = bare && !has(u, others[i]);
	return bare;
}

static int check_parts(const char *url, const char *scheme, const char *host, char *why,
		       size_t size)
{
	if (strcmp(scheme, "https") == 0)
		return 0;
	if (strcmp(scheme, "http") == 0 && is_loopback(host))
		return 0;
	if (strcmp(scheme, "http") == 0)
		snprintf(why, size, "%.200s: expected " FORM ": what goes by http:// can be read "
			 "on its way, and is for loopback addresses only", url);
	else
		snprintf(why, size, "%.200s: expected " FORM, url);
	return -2;
}

int pw_url_check(const char *url, char *why, size_t size)
{
	CURLU *u = curl_url();
	char *scheme = NULL, *host = NULL;
	int result = -2;

	if (u != NULL && curl_url_set(u, CURLUPART_URL, url, 0) == CURLUE_OK && is_bare(u)
	    && curl_url_get(u, CURLUPART_SCHEME, &scheme, 0) == CURLUE_OK
	    && curl_url_get(u, CURLUPART_HOST, &host, 0) == CURLUE_OK)
		result = check_parts(url, scheme, host, why, size);
	else
		snprintf(why, size, "%.200s: expected " FORM, url);
	curl_free(scheme);
	curl_free(host);
	curl_url_cleanup(u);
	pw_plain(why);
	return result;
}
