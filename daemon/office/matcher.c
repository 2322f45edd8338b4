/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The ticker that keeps rows in step: a thread that asks the desk, about once a second, to make some
 * of them anew, a slice at a time. Between slices the desk does what else waits.
 */
#include <errno.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "office_internal.h"
#include "zone.h"

#define TICK_MS 1000
#define BETWEEN_MS 10  /* slices, while more is left */
#define SLICE_MS 30
#define DUE_MS 30000   /* windows that are over are looked for */

struct pw_matcher {
	struct pw_desk *desk;
	struct pw_zone *zone;
	pthread_t thread;
	pthread_mutex_t lock;
	pthread_cond_t news;
	bool stopping;         /* by lock */
	int64_t due_ms;        /* the thread's own, as all below */
	char told[240];        /* the last thing that went wrong */
};

/* -- a slice ----------------------------------------------------------------------------------- */

struct slice {
	const struct pw_zone *zone;
	bool due;
	int more;
};

static int work_slice(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct slice *slice = ctx;
	const int64_t now_ms = pw_office_now_ms();
	int result = slice->due ? pw_audit_due(s, now_ms, why, size) : 0;

	if (result < 0)
		return result;
	slice->more = pw_audit_renew(s, slice->zone, now_ms, SLICE_MS, why, size);
	return slice->more < 0 ? slice->more : 0;
}

/* What is the same again is not told again. That the store is away the desk tells itself. */
static void tell(struct pw_matcher *m, int result, const char *why)
{
	if (result == -2 && strcmp(m->told, why) != 0)
		pw_office_say("runs and sweeps are not matched now: %s", why);
	snprintf(m->told, sizeof(m->told), "%s", result == -2 ? why : "");
}

/* 1: more is left. */
static int do_slice(struct pw_matcher *m, bool due)
{
	struct slice slice = { .zone = m->zone, .due = due };
	char why[240] = "";
	int result = pw_desk_do(m->desk, work_slice, &slice, why, sizeof(why));

	tell(m, result, why);
	return result == 0 && slice.more > 0;
}

/* -- the thread -------------------------------------------------------------------------------- */

static int64_t clock_ms(void)
{
	struct timespec t;

	clock_gettime(CLOCK_MONOTONIC, &t);
	return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

/* False: it is over. */
static bool wait_a_while(struct pw_matcher *m, int64_t ms)
{
	const int64_t until_ms = clock_ms() + ms;
	const struct timespec until = { .tv_sec = until_ms / 1000,
					.tv_nsec = until_ms % 1000 * 1000000 };
	bool stopping;

	pthread_mutex_lock(&m->lock);
	while (!m->stopping && pthread_cond_timedwait(&m->news, &m->lock, &until) != ETIMEDOUT)
		;
	stopping = m->stopping;
	pthread_mutex_unlock(&m->lock);
	return !stopping;
}

static void *run(void *ctx)
{
	struct pw_matcher *m = ctx;
	int64_t wait_ms = 0;

	while (wait_a_while(m, wait_ms)) {
		const bool due = clock_ms() >= m->due_ms;

		if (due)
			m->due_ms = clock_ms() + DUE_MS;
		wait_ms = do_slice(m, due) ? BETWEEN_MS : TICK_MS;
	}
	return NULL;
}

/* -- its life ---------------------------------------------------------------------------------- */

static void matcher_free(struct pw_matcher *m)
{
	pw_zone_free(m->zone);
	pthread_mutex_destroy(&m->lock);
	pthread_cond_destroy(&m->news);
	free(m);
}

int pw_matcher_start(struct pw_office *o, struct pw_matcher **matcher, char *why, size_t size)
{
	struct pw_matcher *m = calloc(1, sizeof(*m));
	pthread_condattr_t monotonic;
	int result, error = 0;

	if (m == NULL) {
		snprintf(why, size, "there is no memory for the matcher");
		return -1;
	}
	m->desk = o->desk;
	pthread_mutex_init(&m->lock, NULL);
	pthread_condattr_init(&monotonic);
	pthread_condattr_setclock(&monotonic, CLOCK_MONOTONIC);
	pthread_cond_init(&m->news, &monotonic);
	pthread_condattr_destroy(&monotonic);
	result = pw_zone_open(o->conf.zone, &m->zone, why, size);
	if (result == 0 && (error = pthread_create(&m->thread, NULL, run, m)) != 0) {
		snprintf(why, size, "the matcher cannot be started: %s", strerror(error));
		result = -1;
	}
	if (result == 0)
		*matcher = m;
	else
		matcher_free(m);
	return result;
}

void pw_matcher_stop(struct pw_matcher *m)
{
	if (m == NULL)
		return;
	pthread_mutex_lock(&m->lock);
	m->stopping = true;
	pthread_cond_signal(&m->news);
	pthread_mutex_unlock(&m->lock);
	pthread_join(m->thread, NULL);
	matcher_free(m);
}

int pw_matcher_catch_up(struct pw_office *o, char *why, size_t size)
{
	struct slice slice = { .due = true, .more = 1 };
	struct pw_zone *zone = NULL;
	int result = pw_zone_open(o->conf.zone, &zone, why, size);

	slice.zone = zone;
	while (result == 0 && slice.more > 0) {
		result = pw_desk_do(o->desk, work_slice, &slice, why, size);
		slice.due = false;
	}
	pw_zone_free(zone);
	return result;
}
