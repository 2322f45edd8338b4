/* SPDX-License-Identifier: Apache-2.0 */
/* look.h - what stands: the page, and (while nothing runs) the journal. */
#ifndef POSTWALK_TEST_LOOK_H
#define POSTWALK_TEST_LOOK_H

#include <arpa/inet.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

#include "postwalk/journal.h"
#include "world.h"

#define FRESH_MS 110 /* the page answers from the same copy for 100 ms (docs/status.md) */

/* -- the page ---------------------------------------------------------------------------------- */

/* The whole reply; the HTTP status, 0 when there was none. */
static inline int world_http(struct world *w, const char *path, char *reply, size_t size)
{
	struct sockaddr_in a = { .sin_family = AF_INET, .sin_port = htons((uint16_t)w->port),
				 .sin_addr.s_addr = htonl(INADDR_LOOPBACK) };
	int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0), status = 0;
	int64_t until_ms = now_ms() + PATIENCE_MS;
	size_t len = 0;
	ssize_t n = -1;

	if (connect(fd, (struct sockaddr *)&a, sizeof(a)) == 0) {
		dprintf(fd, "GET %s HTTP/1.1\r\nHost: 127.0.0.1:%d\r\nConnection: close\r\n\r\n",
			path, w->port);
		do {
			if (!world_turn(w, fd, until_ms))
				continue;
			n = recv(fd, reply + len, size - 1 - len, 0);
			len += n > 0 ? (size_t)n : 0;
		} while (n != 0 && now_ms() < until_ms);
	}
	reply[len] = '\0';
	close(fd);
	return sscanf(reply, "HTTP/1.%*d %d ", &status) == 1 ? status : 0;
}

/* /status.json, not older than this call. A reference of the caller's. */
static inline json_t *world_status(struct world *w)
{
	static char reply[65536];
	char *body;
	json_t *status;

	world_until(w, w->asked_ms + FRESH_MS);
	assert_int_equal(world_http(w, "/status.json", reply, sizeof(reply)), 200);
	w->asked_ms = now_ms();
	body = strstr(reply, "\r\n\r\n");
	assert_non_null(body);
	status = json_loads(body + 4, JSON_REJECT_DUPLICATES, NULL);
	assert_non_null(status);
	return status;
}

/* What the page says of a fault; false: there is none of that name. */
static inline bool page_shows(struct world *w, const char *fault, const char *containing)
{
	json_t *status = world_status(w), *one;
	bool shown = false;
	size_t i;

	json_array_foreach(json_object_get(status, "faults"), i, one)
		shown = shown ||
			(strcmp(json_string_value(json_object_get(one, "name")), fault) == 0 &&
			 strstr(json_string_value(json_object_get(one, "words")), containing));
	json_decref(status);
	return shown;
}

static inline void assert_page(struct world *w, const char *key, const char *value)
{
	json_t *status = world_status(w);

	assert_string_equal(json_string_value(json_object_get(status, key)), value);
	json_decref(status);
}

static inline json_int_t page_kept(struct world *w, const char *key)
{
	json_t *status = world_status(w);
	json_int_t n = json_integer_value(json_object_get(json_object_get(status, "journal"), key));

	json_decref(status);
	return n;
}

/* Asks until nothing waits for the disk. */
static inline void page_settles(struct world *w)
{
	int64_t until_ms = now_ms() + PATIENCE_MS;

	while (page_kept(w, "waiting") > 0)
		if (now_ms() >= until_ms)
			fail_msg("records still wait");
}

/* -- the journal ------------------------------------------------------------------------------- */

static inline struct pw_journal *look_open(const struct world *w)
{
	char path[128], why[256] = "";
	struct pw_journal *j = NULL;

	snprintf(path, sizeof(path), "%s/journal.db", w->state);
	if (pw_journal_open(path, NULL, false, &j, why, sizeof(why)))
		fail_msg("%s", why);
	return j;
}

/* The nth record (from 1 on) of that kind whose body has that text: its body. Counts them. */
static inline unsigned look_for(const struct world *w, enum pw_kind kind, const char *containing,
				unsigned nth, char *body, size_t size)
{
	struct pw_journal *j = look_open(w);
	struct pw_record r = { 0 };
	char why[256];
	unsigned count = 0;

	while (pw_journal_read(j, r.seq + 1, &r, why, sizeof(why)) == 1) {
		if (r.kind != kind || !strstr(r.body, containing))
			continue;
		if (++count == nth)
			snprintf(body, size, "%s", r.body);
	}
	pw_journal_close(j);
	return count;
}

static inline unsigned journal_count(const struct world *w, enum pw_kind kind,
				     const char *containing)
{
	return look_for(w, kind, containing, 0, NULL, 0);
}

/* J2, J3: no gap, nothing twice, every hash. The count of records. */
static inline uint64_t journal_is_whole(const struct world *w)
{
	struct pw_journal *j = look_open(w);
	struct pw_record r;
	char why[256], prev[65], hash[65];
	uint64_t seq = 0;
	int got;

	memset(prev, '0', 64);
	prev[64] = '\0';
	while ((got = pw_journal_read(j, seq + 1, &r, why, sizeof(why))) == 1) {
		assert_int_equal(r.seq, ++seq);
		assert_string_equal(r.prev, prev);
		pw_record_hash("bus-9", &r, hash);
		assert_string_equal(r.hash, hash);
		memcpy(prev, hash, sizeof(prev));
	}
	assert_int_equal(got, 0);
	pw_journal_close(j);
	return seq;
}

/* The only sweep, or the nth: its verdict and all of its findings, sorted, as "a b". */
static inline void journal_sweep(const struct world *w, unsigned nth, const char *verdict,
				 const char *findings)
{
	char body[PW_BODY_MAX + 1] = "", found[512] = "";
	json_t *sweep, *one;
	size_t i;

	assert_true(look_for(w, PW_K_SWEEP, "", nth, body, sizeof(body)) >= nth);
	sweep = json_loads(body, 0, NULL);
	assert_non_null(sweep);
	json_array_foreach(json_object_get(sweep, "findings"), i, one) {
		strcat(found, i ? " " : "");
		strcat(found, json_string_value(one));
	}
	assert_string_equal(found, findings);
	assert_string_equal(json_string_value(json_object_get(sweep, "verdict")), verdict);
	json_decref(sweep);
}

#endif
