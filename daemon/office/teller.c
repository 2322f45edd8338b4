/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Who must hear of it. Each way has a thread of its own: a mail server that does not answer holds
 * up no webhook, and neither the desk. What was told is noted after it was told: a crash between
 * the two tells it once more, under the same id, and nothing is forgotten.
 */
#include <pthread.h>
#include <sodium.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include <curl/curl.h>

#include "look_internal.h"

#define LOOK_AGAIN_MS 60000  /* at least so often: the wall clock may have been set */
#define STORE_AGAIN_MS 5000  /* while the store is away */

const struct pw_way pw_ways[PW_WAYS] = {
	{ "mail", pw_mail_wanted, pw_mail_send },
	{ "webhook", pw_webhook_wanted, pw_webhook_send },
};

struct pw_teller {
	struct pw_office *office;
	char fingerprint[65];
	pthread_mutex_t lock;
	pthread_cond_t changed; /* woken, or stop */
	uint64_t wakes;
	atomic_bool stop;
	size_t lines;
	struct line {
		struct pw_teller *teller;
		const struct pw_way *way;
		pthread_t thread;
		bool failing, store_away; /* told once */
	} line[PW_WAYS];
};

/* -- waiting ----------------------------------------------------------------------------------- */

static uint64_t wakes_of(struct pw_teller *t)
{
	uint64_t wakes;

	pthread_mutex_lock(&t->lock);
	wakes = t->wakes;
	pthread_mutex_unlock(&t->lock);
	return wakes;
}

/* Until somebody wakes the teller again, it stops, or that long. */
static void wait_for(struct pw_teller *t, uint64_t wakes, int64_t wait_ms)
{
	struct timespec until;

	clock_gettime(CLOCK_MONOTONIC, &until);
	until.tv_sec += (time_t)(wait_ms / 1000);
	until.tv_nsec += (long)(wait_ms % 1000) * 1000000;
	if (until.tv_nsec >= 1000000000) {
		until.tv_nsec -= 1000000000;
		until.tv_sec++;
	}
	pthread_mutex_lock(&t->lock);
	while (t->wakes == wakes && !atomic_load(&t->stop)
	       && pthread_cond_timedwait(&t->changed, &t->lock, &until) == 0)
		;
	pthread_mutex_unlock(&t->lock);
}

/* -- one telling ------------------------------------------------------------------------------- */

typedef int work(struct pw_store *s, void *ctx, char *why, size_t size);

/* The store is asked until it answers, and at a stop once more. False: it has not. */
static bool insist(struct line *l, work *what, void *ctx)
{
	struct pw_teller *t = l->teller;
	char why[200] = "";

	while (pw_desk_do(t->office->desk, what, ctx, why, sizeof(why)) < 0) {
		if (!l->store_away)
			pw_office_say("%s: nothing can be told: %s", l->way->name, why);
		l->store_away = true;
		if (atomic_load(&t->stop))
			return false;
		wait_for(t, wakes_of(t), STORE_AGAIN_MS);
	}
	l->store_away = false;
	return true;
}

struct fresh { const struct pw_item *item; bool taken; };

/* A matter may have been taken while others were told of. */
static int look_if_taken(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct fresh *f = ctx;
	struct pw_matter m;
	int found = pw_store_matter(s, f->item->matter.id, &m, why, size);

	f->taken = found > 0 && m.taken_ms != 0;
	return found < 0 ? found : 0;
}

static bool was_taken(struct line *l, const struct pw_item *item)
{
	struct fresh f = { .item = item };

	if (item->matter.id == 0 || item->telling.day == PW_TELL_TAKEN)
		return false;
	return !insist(l, look_if_taken, &f) || f.taken;
}

static int note(struct pw_store *s, void *ctx, char *why, size_t size)
{
	return pw_store_telling_put(s, ctx, why, size);
}

static void say_change(struct line *l, bool failed, const char *why)
{
	if (failed && !l->failing)
		pw_office_say("%s: does not get through: %s", l->way->name, why);
	else if (!failed && l->failing)
		pw_office_say("%s: gets through again", l->way->name);
	if (!failed && why[0] != '\0')
		pw_office_say("%s: %s", l->way->name, why);
	l->failing = failed;
}

static int make_news(const struct pw_teller *t, const struct pw_item *item, struct pw_news *news)
{
	if (item->matter.id == 0)
		return pw_news_digest(news, t->fingerprint, item->telling.day, item->digest);
	return pw_news_matter(news, t->fingerprint, &item->matter, &item->telling);
}

static void tell(struct line *l, struct pw_item *item)
{
	struct pw_teller *t = l->teller;
	const struct pw_office_conf *conf = &t->office->conf;
	struct pw_news news;
	char why[200] = "memory is short";
	int result = -1;

	if (was_taken(l, item))
		return;
	if (make_news(t, item, &news) == 0) {
		result = l->way->send(conf, &news, pw_office_now_ms(), &t->stop, why, sizeof(why));
		pw_news_free(&news);
	}
	if (result < 0 && atomic_load(&t->stop)) /* it was broken off */
		return;
	if (result < 0)
		pw_tell_failed(&item->telling, why, randombytes_random(), pw_office_now_ms());
	else
		pw_tell_done(&item->telling, item->matter.kind, conf->tell_again_s, why,
			     pw_office_now_ms());
	say_change(l, result < 0, why);
	insist(l, note, &item->telling);
}

/* -- a way ------------------------------------------------------------------------------------- */

/* Tells what is due; how long there is nothing more. */
static int64_t tell_what_is_due(struct line *l)
{
	struct pw_look look = { .conf = &l->teller->office->conf, .way = l->way->name,
				.now_ms = pw_office_now_ms() };
	int64_t wait_ms;

	if (!insist(l, pw_look, &look)) {
		pw_look_free(&look);
		return 0;
	}
	for (size_t i = 0; i < look.items && !atomic_load(&l->teller->stop); i++)
		tell(l, &look.item[i]);
	pw_look_free(&look);
	wait_ms = look.items > 0 ? 0 : look.next_ms - pw_office_now_ms();
	return wait_ms < 0 ? 0 : wait_ms > LOOK_AGAIN_MS ? LOOK_AGAIN_MS : wait_ms;
}

static void *run(void *ctx)
{
	struct line *l = ctx;
	uint64_t wakes;
	int64_t wait_ms;

	while (!atomic_load(&l->teller->stop)) {
		wakes = wakes_of(l->teller);
		wait_ms = tell_what_is_due(l);
		if (wait_ms > 0)
			wait_for(l->teller, wakes, wait_ms);
	}
	return NULL;
}

/* -- all of them ------------------------------------------------------------------------------- */

static int init(struct pw_office *o, struct pw_teller *t)
{
	pthread_condattr_t attr;

	t->office = o;
	pw_public_key_print(&o->key.public, t->fingerprint);
	if (pthread_condattr_init(&attr) != 0)
		return -1;
	pthread_condattr_setclock(&attr, CLOCK_MONOTONIC);
	pthread_cond_init(&t->changed, &attr);
	pthread_condattr_destroy(&attr);
	pthread_mutex_init(&t->lock, NULL);
	return curl_global_init(CURL_GLOBAL_DEFAULT) == CURLE_OK ? 0 : -1;
}

static int start_line(struct pw_teller *t, const struct pw_way *way)
{
	struct line *l = &t->line[t->lines];

	*l = (struct line){ .teller = t, .way = way };
	if (pthread_create(&l->thread, NULL, run, l) != 0)
		return -1;
	t->lines++;
	return 0;
}

int pw_teller_start(struct pw_office *o, struct pw_teller **teller, char *why, size_t size)
{
	struct pw_teller *t = calloc(1, sizeof(*t));
	int result = t != NULL ? init(o, t) : -1;

	*teller = NULL;
	for (size_t i = 0; result == 0 && i < PW_WAYS; i++)
		if (pw_ways[i].wanted(&o->conf))
			result = start_line(t, &pw_ways[i]);
	if (result < 0) {
		snprintf(why, size, "what tells people cannot be started: memory is short");
		pw_teller_stop(t);
		return -1;
	}
	if (t->lines == 0)
		pw_office_say("nobody is told of anything: office.conf has no [mail] server and no "
			      "[webhook] url");
	*teller = t;
	return 0;
}

void pw_teller_stop(struct pw_teller *t)
{
	if (t == NULL)
		return;
	atomic_store(&t->stop, true);
	pw_teller_wake(t);
	for (size_t i = 0; i < t->lines; i++)
		pthread_join(t->line[i].thread, NULL);
	pthread_cond_destroy(&t->changed);
	pthread_mutex_destroy(&t->lock);
	free(t);
	curl_global_cleanup();
}

void pw_teller_wake(struct pw_teller *t)
{
	if (t == NULL)
		return;
	pthread_mutex_lock(&t->lock);
	t->wakes++;
	pthread_cond_broadcast(&t->changed);
	pthread_mutex_unlock(&t->lock);
}

/* -- a test ------------------------------------------------------------------------------------ */

static int test_way(const struct pw_office *o, const struct pw_way *way, const struct pw_news *news,
		    FILE *out)
{
	char why[200] = "";
	int result = way->send(&o->conf, news, pw_office_now_ms(), NULL, why, sizeof(why));

	if (result == 0)
		fprintf(out, "%s: the test got through%s%s\n", way->name,
			why[0] != '\0' ? "; " : "", why);
	else
		fprintf(out, "%s: the test did not get through: %s\n", way->name, why);
	return result;
}

int pw_tell_test(const struct pw_office *o, FILE *out)
{
	char fingerprint[65];
	struct pw_news news;
	unsigned wanted = 0, failed = 0;

	pw_public_key_print(&o->key.public, fingerprint);
	if (curl_global_init(CURL_GLOBAL_DEFAULT) != CURLE_OK
	    || pw_news_test(&news, fingerprint, pw_office_now_ms()) < 0) {
		fprintf(out, "memory is short\n");
		return 1;
	}
	for (size_t i = 0; i < PW_WAYS; i++)
		if (pw_ways[i].wanted(&o->conf)) {
			wanted++;
			failed += test_way(o, &pw_ways[i], &news, out) < 0;
		}
	pw_news_free(&news);
	curl_global_cleanup();
	if (wanted == 0)
		fprintf(out, "office.conf has no [mail] server and no [webhook] url\n");
	return wanted == 0 ? 2 : failed > 0;
}
