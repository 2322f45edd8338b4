/* SPDX-License-Identifier: Apache-2.0 */
/* post_internal.h - what mail.c and webhook.c share: one libcurl transfer, with an end to it. */
#ifndef POSTWALK_POST_INTERNAL_H
#define POSTWALK_POST_INTERNAL_H

#include <curl/curl.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <stdint.h>

#define PW_POST_SECRET_MAX 256

struct pw_post {
	CURL *curl;
	char error[CURL_ERROR_SIZE];
	const atomic_bool *stop;
	int64_t ends_ms; /* CLOCK_MONOTONIC: no transfer goes on after that */
};
/* TLS 1.2 or newer, the machine's certificates (or those of SSL_CERT_FILE); it ends a minute from
 * now, or two seconds after stop became true (NULL: never). protocols: "smtp", "http,https". p stays
 * where it is. 0; -1: no memory, or url is none of them. */
int pw_post_open(struct pw_post *p, const char *url, const char *protocols,
		 const atomic_bool *stop);
void pw_post_close(struct pw_post *p);
/* 0; -1 with why in libcurl's words. */
int pw_post_run(struct pw_post *p, char *why, size_t size);

/* localhost, 127.0.0.0/8, ::1: nobody listens in between. */
bool pw_post_loopback(const char *url);
/* The first line of a file. 0; -1 with why: it cannot be read, is shorter than least, too long. */
int pw_post_secret(const char *path, size_t least, char secret[PW_POST_SECRET_MAX], char *why,
		   size_t size);

#endif
