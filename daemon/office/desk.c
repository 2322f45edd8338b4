/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The thread that owns the store. What has gathered while it was at the disk shares the next
 * transaction, so that one sync serves many; each piece of work can fail alone, under a mark of its
 * own.
 */
#include <errno.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "intake_internal.h"

#define TOGETHER_MAX 128
#define AGAIN_LEAST_MS 250
#define AGAIN_MOST_MS 60000
#define WHY_MAX 240

struct pw_desk {
	pthread_t thread;
	pthread_mutex_t lock;
	pthread_cond_t news;
	char where[300];
	struct pw_job *first, **last; /* waiting; by lock, as all below */
	bool stopping, away;
	char why[WHY_MAX];            /* it is away */
	/* The thread's own. */
	struct pw_store *store;
	int64_t away_since_ms, again_ms;
	unsigned tries;
};

static int64_t boot_ms(void)
{
	struct timespec t;

	clock_gettime(CLOCK_MONOTONIC, &t);
	return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

/* -- the store comes and goes ------------------------------------------------------------------ */

static void set_away(struct pw_desk *d, bool away, const char *why)
{
	pthread_mutex_lock(&d->lock);
	d->away = away;
	snprintf(d->why, sizeof(d->why), "%s", why);
	pthread_mutex_unlock(&d->lock);
}

/* Told once, however often it is tried. */
static void leave(struct pw_desk *d, const char *why)
{
	if (d->store) {
		pw_store_close(d->store);
		d->store = NULL;
		d->tries = 0;
		d->away_since_ms = boot_ms();
		pw_office_say("the store is away: %s; the buses are asked to come later", why);
	}
	int64_t wait_ms = AGAIN_LEAST_MS << (d->tries < 8 ? d->tries : 8);

	d->again_ms = boot_ms() + (wait_ms < AGAIN_MOST_MS ? wait_ms : AGAIN_MOST_MS);
	d->tries++;
	set_away(d, true, why);
}

static void come_back(struct pw_desk *d)
{
	char why[WHY_MAX];

	if (pw_store_open(d->where, false, &d->store, why, sizeof(why))) {
		d->store = NULL;
		leave(d, why);
		return;
	}
	pw_office_say("the store is back after %lld s",
		      (long long)((boot_ms() - d->away_since_ms) / 1000));
	set_away(d, false, "");
}

/* -- a transaction ----------------------------------------------------------------------------- */

struct outcome {
	int result;
	char why[WHY_MAX];
};

/* 0: kept or undone, as it said; -1: the transaction is of no use any more. */
static int do_one(struct pw_store *s, const struct pw_job *job, struct outcome *o)
{
	o->why[0] = '\0';
	o->result = pw_store_mark(s, o->why, sizeof(o->why));
	if (o->result)
		return -1;
	o->result = job->work(s, job->ctx, o->why, sizeof(o->why));
	if (o->result >= 0)
		return pw_store_mark_keep(s, o->why, sizeof(o->why)) ? -1 : 0;
	if (o->result == -1)
		return -1;
	char undo_why[WHY_MAX];

	if (pw_store_mark_undo(s, undo_why, sizeof(undo_why)) == 0)
		return 0;
	memcpy(o->why, undo_why, sizeof(o->why));
	return -1;
}

/* All of jobs within one transaction. -1 with why: nothing of it was kept, as far as is known. */
static int do_together(struct pw_desk *d, struct pw_job *jobs, struct outcome *o, char *why)
{
	size_t i = 0;

	if (pw_store_begin(d->store, why, WHY_MAX))
		return -1;
	for (struct pw_job *job = jobs; job; job = job->next, i++)
		if (do_one(d->store, job, &o[i])) {
			memcpy(why, o[i].why, WHY_MAX);
			pw_store_rollback(d->store);
			return -1;
		}
	if (pw_store_commit(d->store, why, WHY_MAX) == 0)
		return 0;
	pw_store_rollback(d->store);
	return -1;
}

/* A job is its owner's again as soon as it is done. */
static void tell(struct pw_job *jobs, const struct outcome *o, const char *why)
{
	struct pw_job *next;

	for (size_t i = 0; jobs; jobs = next, i++) {
		next = jobs->next;
		if (why)
			jobs->done(jobs->ctx, -1, why);
		else
			jobs->done(jobs->ctx, o[i].result, o[i].why);
	}
}

static void serve(struct pw_desk *d, struct pw_job *jobs)
{
	struct outcome o[TOGETHER_MAX];
	char why[WHY_MAX] = "";

	if (!d->store && d->again_ms <= boot_ms())
		come_back(d);
	if (!d->store) {
		pthread_mutex_lock(&d->lock);
		memcpy(why, d->why, sizeof(why));
		pthread_mutex_unlock(&d->lock);
		tell(jobs, NULL, why);
		return;
	}
	if (!jobs)
		return;
	if (do_together(d, jobs, o, why) == 0) {
		tell(jobs, o, NULL);
		return;
	}
	leave(d, why);
	tell(jobs, NULL, why);
}

/* -- the thread -------------------------------------------------------------------------------- */

static void wait_for_news(struct pw_desk *d)
{
	if (d->store) {
		pthread_cond_wait(&d->news, &d->lock);
		return;
	}
	struct timespec until = { .tv_sec = d->again_ms / 1000,
				  .tv_nsec = d->again_ms % 1000 * 1000000 };

	pthread_cond_timedwait(&d->news, &d->lock, &until);
}

/* What waits, TOGETHER_MAX of it at most. NULL: the store is to be tried again, or all is over. */
static struct pw_job *take_jobs(struct pw_desk *d, bool *over)
{
	struct pw_job *jobs, **end;

	pthread_mutex_lock(&d->lock);
	while (!d->first && !d->stopping && (d->store || d->again_ms > boot_ms()))
		wait_for_news(d);
	jobs = d->first;
	end = &jobs;
	for (int i = 0; *end && i < TOGETHER_MAX && !(*end)->alone; i++)
		end = &(*end)->next;
	if (end == &jobs && jobs)
		end = &jobs->next;
	d->first = *end;
	*end = NULL;
	if (!d->first)
		d->last = &d->first;
	*over = !jobs && d->stopping;
	pthread_mutex_unlock(&d->lock);
	return jobs;
}

static void *run(void *ctx)
{
	struct pw_desk *d = ctx;
	bool over;

	for (;;) {
		struct pw_job *jobs = take_jobs(d, &over);

		if (over)
			return NULL;
		serve(d, jobs);
	}
}

/* -- its life ---------------------------------------------------------------------------------- */

static struct pw_desk *desk_new(const char *store)
{
	struct pw_desk *d = calloc(1, sizeof(*d));
	pthread_condattr_t monotonic;

	if (!d)
		return NULL;
	snprintf(d->where, sizeof(d->where), "%s", store);
	d->last = &d->first;
	pthread_mutex_init(&d->lock, NULL);
	pthread_condattr_init(&monotonic);
	pthread_condattr_setclock(&monotonic, CLOCK_MONOTONIC);
	pthread_cond_init(&d->news, &monotonic);
	pthread_condattr_destroy(&monotonic);
	return d;
}

static void desk_free(struct pw_desk *d)
{
	pw_store_close(d->store);
	pthread_mutex_destroy(&d->lock);
	pthread_cond_destroy(&d->news);
	free(d);
}

int pw_desk_start(const char *store, struct pw_desk **desk, char *why, size_t size)
{
	struct pw_desk *d = desk_new(store);
	int result = d ? 0 : -1, error = 0;

	if (!d)
		snprintf(why, size, "there is no memory for the desk");
	if (d)
		result = pw_store_open(store, false, &d->store, why, size);
	if (result == 0) {
		error = pthread_create(&d->thread, NULL, run, d);
		result = error ? -1 : 0;
	}
	if (error)
		snprintf(why, size, "the desk cannot be started: %s", strerror(error));
	if (result == 0)
		*desk = d;
	else if (d)
		desk_free(d);
	return result;
}

void pw_desk_stop(struct pw_desk *d)
{
	pthread_mutex_lock(&d->lock);
	d->stopping = true;
	pthread_cond_signal(&d->news);
	pthread_mutex_unlock(&d->lock);
	pthread_join(d->thread, NULL);
	desk_free(d);
}

/* -- work -------------------------------------------------------------------------------------- */

/* Where the store is away the thread may be waiting for it: nobody else waits with it. */
void pw_desk_post(struct pw_desk *d, struct pw_job *job)
{
	char why[WHY_MAX] = "";
	bool away;

	job->next = NULL;
	pthread_mutex_lock(&d->lock);
	away = d->away;
	if (away) {
		memcpy(why, d->why, sizeof(why));
	} else {
		*d->last = job;
		d->last = &job->next;
		pthread_cond_signal(&d->news);
	}
	pthread_mutex_unlock(&d->lock);
	if (away)
		job->done(job->ctx, -1, why);
}

struct waiter {
	int (*work)(struct pw_store *s, void *ctx, char *why, size_t size);
	void *ctx;
	pthread_mutex_t lock;
	pthread_cond_t over;
	bool done;
	int result;
	char *why;
	size_t size;
};

static int waiter_work(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct waiter *w = ctx;

	return w->work(s, w->ctx, why, size);
}

static void waiter_done(void *ctx, int result, const char *why)
{
	struct waiter *w = ctx;

	pthread_mutex_lock(&w->lock);
	w->result = result;
	snprintf(w->why, w->size, "%s", why);
	w->done = true;
	pthread_cond_signal(&w->over);
	pthread_mutex_unlock(&w->lock);
}

static int do_and_wait(struct pw_desk *d, bool alone,
		       int (*work)(struct pw_store *s, void *ctx, char *why, size_t size),
		       void *ctx, char *why, size_t size)
{
	struct waiter w = { .work = work, .ctx = ctx, .why = why, .size = size };
	struct pw_job job = { .work = waiter_work, .done = waiter_done, .ctx = &w, .alone = alone };

	pthread_mutex_init(&w.lock, NULL);
	pthread_cond_init(&w.over, NULL);
	pw_desk_post(d, &job);
	pthread_mutex_lock(&w.lock);
	while (!w.done)
		pthread_cond_wait(&w.over, &w.lock);
	pthread_mutex_unlock(&w.lock);
	pthread_cond_destroy(&w.over);
	pthread_mutex_destroy(&w.lock);
	return w.result;
}

int pw_desk_do(struct pw_desk *d,
	       int (*work)(struct pw_store *s, void *ctx, char *why, size_t size), void *ctx,
	       char *why, size_t size)
{
	return do_and_wait(d, false, work, ctx, why, size);
}

int pw_desk_do_alone(struct pw_desk *d,
		     int (*work)(struct pw_store *s, void *ctx, char *why, size_t size), void *ctx,
		     char *why, size_t size)
{
	return do_and_wait(d, true, work, ctx, why, size);
}
