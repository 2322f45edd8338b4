/* SPDX-License-Identifier: Apache-2.0 */
/* Buses that come in at one time: so many threads, each with one bus after another, in the order in
 * which they come. */
#include <errno.h>
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "fleet_send_internal.h"
#include "tool_internal.h"

#define THREADS_MAX 1024

struct crowd {
	struct pw_delivering d;
	pthread_mutex_t lock;
	unsigned next;
	struct timespec begun;
	int64_t apart_us; /* one bus behind another */
	struct pw_sums sums;
	bool all;
};

/* Until its time has come, by the clock that no step moves. */
static void wait_turn(const struct crowd *c, unsigned index)
{
	const int64_t after_us = c->apart_us * index;
	struct timespec at = c->begun;

	at.tv_sec += after_us / 1000000;
	at.tv_nsec += after_us % 1000000 * 1000;
	if (at.tv_nsec >= 1000000000) {
		at.tv_sec++;
		at.tv_nsec -= 1000000000;
	}
	while (c->apart_us > 0
	       && clock_nanosleep(CLOCK_MONOTONIC, TIMER_ABSTIME, &at, NULL) == EINTR)
		;
}

static void add(struct crowd *c, unsigned index, const struct pw_sums *s, bool done,
		const char *why)
{
	char bus[PW_NAME_MAX];

	pw_fleet_bus_name(index, bus);
	pthread_mutex_lock(&c->lock);
	c->sums.records += s->records;
	c->sums.sent += s->sent;
	c->sums.receipted += s->receipted;
	c->sums.there += s->there;
	c->sums.forks += s->forks;
	c->sums.refused += s->refused;
	c->all = c->all && done;
	if (!done)
		fprintf(stderr, "%s: %s\n", bus, why);
	else if (!c->d.options->quiet)
		fprintf(stderr, "%s: %" PRIu64 " records, %" PRIu64 " sent%s\n", bus, s->records,
			s->sent, s->forks ? "; the office has another journal beside it" : "");
	pthread_mutex_unlock(&c->lock);
}

static void *deliver(void *crowd)
{
	struct crowd *c = crowd;
	const unsigned buses = c->d.state->fleet.buses;

	for (;;) {
		struct pw_sums sums = { 0 };
		char why[400] = "";
		unsigned index;
		bool done;

		pthread_mutex_lock(&c->lock);
		index = c->next < buses ? c->next++ : buses;
		pthread_mutex_unlock(&c->lock);
		if (index == buses)
			return NULL;
		wait_turn(c, index);
		done = pw_fleet_deliver(&c->d, index, &sums, why, sizeof(why));
		add(c, index, &sums, done, why);
	}
}

/* How many run; at least one is needed. */
static unsigned start(struct crowd *c, pthread_t thread[THREADS_MAX])
{
	int64_t wanted = c->d.options->connections;
	unsigned n = 0;

	if (wanted > (int64_t)c->d.state->fleet.buses)
		wanted = c->d.state->fleet.buses;
	while (n < THREADS_MAX && (int64_t)n < wanted
	       && pthread_create(&thread[n], NULL, deliver, c) == 0)
		n++;
	return n;
}

/* libcurl begins with the first link that is opened. */
static int look_at(const struct pw_place *p, char *why, size_t size)
{
	struct pw_link *link;

	if (pw_link_open(p, &pw_patience, &link, why, size))
		return -2;
	pw_link_close(link);
	return 0;
}

int pw_fleet_office(const struct pw_fleet_options *o, struct pw_place *p, char *why, size_t size)
{
	const struct { const char *text, *name; char *to; size_t size; } texts[] = {
		{ o->to, "--to", p->url, sizeof(p->url) },
		{ o->ca, "--ca", p->ca, sizeof(p->ca) },
		{ o->pin, "--pin", p->pin, sizeof(p->pin) },
	};

	*p = (struct pw_place){ .url = "" };
	for (size_t i = 0; i < sizeof(texts) / sizeof(texts[0]); i++) {
		if (!texts[i].text)
			continue;
		if (strlen(texts[i].text) >= texts[i].size) {
			snprintf(why, size, "%s: expected a shorter one", texts[i].name);
			return -2;
		}
		strcpy(texts[i].to, texts[i].text);
	}
	return look_at(p, why, size);
}

static void tell(const struct crowd *c)
{
	const struct pw_sums *s = &c->sums;
	struct timespec now;
	int64_t tenths;

	clock_gettime(CLOCK_MONOTONIC, &now);
	tenths = (now.tv_sec - c->begun.tv_sec) * 10 + (now.tv_nsec - c->begun.tv_nsec) / 100000000;
	printf("buses %u, records %" PRIu64 ", sent %" PRIu64 ", receipted %" PRIu64
	       ", already there %" PRIu64 ", forks %" PRIu64 ", refused %" PRIu64
	       ", seconds %" PRId64 ".%" PRId64 "\n",
	       c->d.state->fleet.buses, s->records, s->sent, s->receipted, s->there, s->forks,
	       s->refused, tenths / 10, tenths % 10);
}

int pw_fleet_send(struct pw_fleet_state *s, const struct pw_fleet_options *o,
		  const struct pw_place *p)
{
	struct crowd c = { .d = { .state = s, .options = o, .place = *p }, .all = true };
	pthread_t thread[THREADS_MAX];
	unsigned threads;

	if (o->a_minute > 0)
		c.apart_us = INT64_C(60000000) / o->a_minute;
	else if (o->within_ms > 0)
		c.apart_us = o->within_ms * 1000 / s->fleet.buses;
	pthread_mutex_init(&c.lock, NULL);
	clock_gettime(CLOCK_MONOTONIC, &c.begun);
	threads = start(&c, thread);
	if (threads == 0)
		deliver(&c);
	for (unsigned i = 0; i < threads; i++)
		pthread_join(thread[i], NULL);
	pthread_mutex_destroy(&c.lock);
	tell(&c);
	return c.all && c.sums.receipted == c.sums.records ? PW_EXIT_OK : PW_EXIT_NOT;
}
