/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Threads that do requests, in lanes: a page waits for no file and for no password, of which each
 * takes its time and its memory.
 */
#include <pthread.h>
#include <stdlib.h>

#include "web_internal.h"

#define THREADS_MOST 4

static const struct { unsigned threads, waiting; } sizes[PW_LANES] = {
	[PW_LANE_PAGE] = { 4, 128 },
	[PW_LANE_FILE] = { 2, 16 },
	[PW_LANE_PASSWORD] = { PW_HASHES_AT_ONCE, 32 },
};

struct lane {
	struct pw_lanes *lanes;
	pthread_t thread[THREADS_MOST];
	unsigned threads, waiting; /* waiting and below: by lock */
	struct pw_turn *first, **last;
	pthread_cond_t news;
};

struct pw_lanes {
	void (*work)(struct pw_turn *t);
	pthread_mutex_t lock;
	bool stopping;
	struct lane lane[PW_LANES];
};

static struct pw_turn *take(struct lane *lane)
{
	struct pw_turn *t;

	pthread_mutex_lock(&lane->lanes->lock);
	while (!lane->first && !lane->lanes->stopping)
		pthread_cond_wait(&lane->news, &lane->lanes->lock);
	t = lane->first;
	if (t) {
		lane->first = t->next;
		if (!lane->first)
			lane->last = &lane->first;
		lane->waiting--;
	}
	pthread_mutex_unlock(&lane->lanes->lock);
	return t;
}

static void *run(void *ctx)
{
	struct lane *lane = ctx;

	for (struct pw_turn *t; (t = take(lane)); )
		lane->lanes->work(t);
	return NULL;
}

bool pw_lane_put(struct pw_lanes *l, enum pw_lane_kind kind, struct pw_turn *t)
{
	struct lane *lane = &l->lane[kind];
	bool fits;

	pthread_mutex_lock(&l->lock);
	fits = !l->stopping && lane->waiting < sizes[kind].waiting;
	if (fits) {
		t->next = NULL;
		*lane->last = t;
		lane->last = &t->next;
		lane->waiting++;
		pthread_cond_signal(&lane->news);
	}
	pthread_mutex_unlock(&l->lock);
	return fits;
}

static bool begin_lane(struct pw_lanes *l, enum pw_lane_kind kind)
{
	struct lane *lane = &l->lane[kind];

	lane->lanes = l;
	lane->last = &lane->first;
	pthread_cond_init(&lane->news, NULL);
	while (lane->threads < sizes[kind].threads &&
	       pthread_create(&lane->thread[lane->threads], NULL, run, lane) == 0)
		lane->threads++;
	return lane->threads > 0;
}

int pw_lanes_start(void (*work)(struct pw_turn *t), struct pw_lanes **lanes)
{
	struct pw_lanes *l = calloc(1, sizeof(*l));
	bool all = true;

	if (!l)
		return -1;
	l->work = work;
	pthread_mutex_init(&l->lock, NULL);
	for (int k = 0; k < PW_LANES; k++)
		all &= begin_lane(l, (enum pw_lane_kind)k);
	if (all) {
		*lanes = l;
		return 0;
	}
	pw_lanes_stop(l);
	pw_lanes_free(l);
	return -1;
}

void pw_lanes_stop(struct pw_lanes *l)
{
	pthread_mutex_lock(&l->lock);
	l->stopping = true;
	for (int k = 0; k < PW_LANES; k++)
		pthread_cond_broadcast(&l->lane[k].news);
	pthread_mutex_unlock(&l->lock);
	for (int k = 0; k < PW_LANES; k++) {
		for (unsigned i = 0; i < l->lane[k].threads; i++)
			pthread_join(l->lane[k].thread[i], NULL);
		l->lane[k].threads = 0;
	}
}

void pw_lanes_free(struct pw_lanes *l)
{
	for (int k = 0; k < PW_LANES; k++)
		pthread_cond_destroy(&l->lane[k].news);
	pthread_mutex_destroy(&l->lock);
	free(l);
}
