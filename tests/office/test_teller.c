/* SPDX-License-Identifier: Apache-2.0 */
/*
 * When people are told, and that they are: the table of times; what a look into the store finds; the
 * teller itself with the desk, a store, a mail server and a receiver of webhooks.
 */
#include "tell_help.h"

#include "office/look_internal.h"

#define SECOND INT64_C(1000)
#define HOUR (60 * MINUTE)
#define DAY (24 * HOUR)
#define NEVER INT64_MAX

/* -- times ----------------------------------------------------------------------------------------- */

static void test_again(void **state)
{
	static const struct { int line; enum pw_matter_kind kind; uint32_t again_s; int64_t ms; } cases[] = {
		{ __LINE__, PW_MATTER_RUNG, 900, 900 * SECOND },
		{ __LINE__, PW_MATTER_CHILD, 900, 900 * SECOND },
		{ __LINE__, PW_MATTER_CHILD, 604800, 7 * DAY },
		{ __LINE__, PW_MATTER_FORK, 900, DAY },
		{ __LINE__, PW_MATTER_JOURNAL, 900, DAY },
		{ __LINE__, PW_MATTER_HOLE, 900, DAY },
		{ __LINE__, PW_MATTER_KEY, 900, DAY },
		{ __LINE__, PW_MATTER_REFUSED, 900, DAY },
		{ __LINE__, PW_MATTER_REFUSED, 172800, 2 * DAY },
		{ __LINE__, PW_MATTER_CLOCK, 900, 7 * DAY },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++)
		if (pw_tell_again_ms(cases[i].kind, cases[i].again_s) != cases[i].ms)
			fail_msg("line %d", cases[i].line);
}

/* From 30 s to 30 min, whatever is drawn. */
static void test_retry(void **state)
{
	static const struct { int line; unsigned tries; int64_t least_ms, most_ms; } cases[] = {
		{ __LINE__, 1, 30 * SECOND, 60 * SECOND },
		{ __LINE__, 2, 60 * SECOND, 120 * SECOND },
		{ __LINE__, 3, 120 * SECOND, 240 * SECOND },
		{ __LINE__, 5, 480 * SECOND, 960 * SECOND },
		{ __LINE__, 6, 900 * SECOND, 1800 * SECOND },
		{ __LINE__, 7, 900 * SECOND, 1800 * SECOND },
		{ __LINE__, UINT32_MAX, 900 * SECOND, 1800 * SECOND },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		const uint32_t half = (uint32_t)(cases[i].most_ms / 2);

		if (pw_tell_retry_ms(cases[i].tries, 0) != cases[i].least_ms
		    || pw_tell_retry_ms(cases[i].tries, half) != cases[i].most_ms
		    || pw_tell_retry_ms(cases[i].tries, half + 1) != cases[i].least_ms
		    || pw_tell_retry_ms(cases[i].tries, UINT32_MAX) > cases[i].most_ms)
			fail_msg("line %d", cases[i].line);
	}
}

static void test_due(void **state)
{
	static const struct { int line; uint32_t tries, told; int64_t next_ms, told_ms; bool due; } cases[] = {
		{ __LINE__, 0, 0, NOW, 0, true },
		{ __LINE__, 0, 0, NOW - DAY, 0, true },
		{ __LINE__, 0, 0, NOW + 1, 0, false },
		{ __LINE__, 0, 0, NEVER, 0, false },
		{ __LINE__, 1, 0, NOW + 60 * SECOND, 0, false },
		{ __LINE__, 0, 1, NOW + 7 * DAY, NOW, false },
		/* the clock had been far ahead, and was put back */
		{ __LINE__, 0, 0, NOW + DAY, 0, true },
		{ __LINE__, 1, 0, NOW + HOUR, 0, true },
		{ __LINE__, 0, 1, NOW + 9 * DAY, NOW - DAY, true },
		{ __LINE__, 0, 1, NOW + 2 * HOUR, NOW + HOUR, true },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		const struct pw_telling t = { .tries = cases[i].tries, .told = cases[i].told,
					      .next_ms = cases[i].next_ms, .told_ms = cases[i].told_ms };

		if (pw_tell_due(&t, NOW) != cases[i].due)
			fail_msg("line %d", cases[i].line);
	}
}

static void test_after_a_try(void **state)
{
	struct pw_telling t = { .matter = 17, .next_ms = NOW }, taken = { .matter = 17, .day = PW_TELL_TAKEN },
			  digest = { .day = 20251013 };

	(void)state;
	pw_tell_failed(&t, "refused\r\n", 0, NOW);
	assert_int_equal(t.tries, 1);
	assert_int_equal(t.next_ms, NOW + 30 * SECOND);
	assert_string_equal(t.why, "refused  ");
	pw_tell_failed(&t, "refused", 0, NOW);
	assert_int_equal(t.next_ms, NOW + 60 * SECOND);
	assert_int_equal(t.told, 0);
	pw_tell_done(&t, PW_MATTER_RUNG, 900, "", NOW);
	assert_int_equal(t.tries, 0);
	assert_int_equal(t.told, 1);
	assert_int_equal(t.told_ms, NOW);
	assert_int_equal(t.next_ms, NOW + 900 * SECOND);
	assert_string_equal(t.why, "");
	pw_tell_failed(&t, "gone", 0, NOW); /* a reminder begins with the shortest wait */
	assert_int_equal(t.next_ms, NOW + 30 * SECOND);

	pw_tell_done(&taken, PW_MATTER_RUNG, 900, "", NOW);
	assert_int_equal(taken.next_ms, NEVER);
	pw_tell_done(&digest, PW_MATTER_NONE, 900, "", NOW);
	assert_int_equal(digest.next_ms, NEVER);
}

/* -- a store -------------------------------------------------------------------------------------------- */

static struct pw_store *open_store(void)
{
	static unsigned count;
	struct pw_store *s;
	char path[100], why[200];

	snprintf(path, sizeof(path), "%s/store-%u.db", folder, count++);
	if (pw_store_open(path, false, &s, why, sizeof(why)) != 0)
		fail_msg("%s", why);
	assert_int_equal(pw_store_begin(s, why, sizeof(why)), 0);
	return s;
}

static void close_store(struct pw_store *s)
{
	pw_store_rollback(s);
	pw_store_close(s);
}

static uint64_t put_matter(struct pw_store *s, enum pw_matter_kind kind, uint64_t seq)
{
	struct pw_matter m = a_matter(kind);
	char why[200];

	m.seq = seq;
	assert_int_equal(pw_store_matter_put(s, &m, why, sizeof(why)), 1);
	return m.id;
}

static struct pw_look look_at(struct pw_store *s, const struct pw_office_conf *conf, int64_t now_ms)
{
	struct pw_look look = { .conf = conf, .way = "mail", .now_ms = now_ms };
	char why[200];

	if (pw_look(s, &look, why, sizeof(why)) != 0)
		fail_msg("%s", why);
	return look;
}

static void put_told(struct pw_store *s, struct pw_telling t, enum pw_matter_kind kind, int64_t now_ms)
{
	char why[200];

	pw_tell_done(&t, kind, 900, "", now_ms);
	assert_int_equal(pw_store_telling_put(s, &t, why, sizeof(why)), 0);
}

static const struct pw_office_conf quiet = { .digest_hour = 24, .tell_again_s = 900, .silent_days = 3 };

static void test_look(void **state)
{
	struct pw_store *s = open_store();
	struct pw_look look;
	uint64_t key, rung;

	(void)state;
	look = look_at(s, &quiet, NOW);
	assert_int_equal(look.items, 0);
	assert_int_equal(look.next_ms, NEVER);

	key = put_matter(s, PW_MATTER_KEY, 0);
	rung = put_matter(s, PW_MATTER_RUNG, 812);
	look = look_at(s, &quiet, NOW);
	assert_int_equal(look.items, 2);
	assert_int_equal(look.item[0].matter.id, rung); /* what cannot wait comes first */
	assert_int_equal(look.item[0].telling.matter, rung);
	assert_int_equal(look.item[1].matter.id, key);
	put_told(s, look.item[0].telling, PW_MATTER_RUNG, NOW);
	put_told(s, look.item[1].telling, PW_MATTER_KEY, NOW);

	look = look_at(s, &quiet, NOW + 900 * SECOND - 1);
	assert_int_equal(look.items, 0);
	assert_int_equal(look.next_ms, NOW + 900 * SECOND);
	look = look_at(s, &quiet, NOW + 900 * SECOND);
	assert_int_equal(look.items, 1);
	assert_int_equal(look.item[0].matter.id, rung);
	assert_int_equal(look.item[0].telling.told, 1);
	assert_int_equal(look.next_ms, NOW + DAY);
	close_store(s);
}

/* Each way keeps its own count. */
static void test_look_by_way(void **state)
{
	struct pw_store *s = open_store();
	struct pw_look look;
	char why[200];

	(void)state;
	put_matter(s, PW_MATTER_RUNG, 812);
	look = look_at(s, &quiet, NOW);
	put_told(s, look.item[0].telling, PW_MATTER_RUNG, NOW);
	look = (struct pw_look){ .conf = &quiet, .way = "webhook", .now_ms = NOW };
	assert_int_equal(pw_look(s, &look, why, sizeof(why)), 0);
	assert_int_equal(look.items, 1);
	assert_string_equal(look.item[0].telling.way, "webhook");
	assert_int_equal(look.item[0].telling.told, 0);
	close_store(s);
}

static void test_look_when_taken(void **state)
{
	struct pw_store *s = open_store();
	struct pw_look look;
	struct pw_matter m;
	uint64_t id;
	char why[200];

	(void)state;
	id = put_matter(s, PW_MATTER_CHILD, 812);
	look = look_at(s, &quiet, NOW);
	put_told(s, look.item[0].telling, PW_MATTER_CHILD, NOW);
	assert_int_equal(pw_store_matter_take(s, id, "d12", "called", NOW + 1, &m, why, sizeof(why)), 1);
	look = look_at(s, &quiet, NOW + 2);
	assert_int_equal(look.items, 1);
	assert_int_equal(look.item[0].telling.day, PW_TELL_TAKEN);
	assert_int_equal(look.item[0].matter.id, id);
	assert_string_equal(look.item[0].matter.taken_by, "d12");
	put_told(s, look.item[0].telling, PW_MATTER_CHILD, NOW + 2);
	look = look_at(s, &quiet, NOW + 30 * DAY);
	assert_int_equal(look.items, 0);
	assert_int_equal(look.next_ms, NEVER);
	close_store(s);
}

/* More than fit are told in turn. */
static void test_look_at_many(void **state)
{
	struct pw_store *s = open_store();
	struct pw_look look;
	size_t told = 0;

	(void)state;
	for (uint64_t i = 1; i <= 3 * PW_LOOK_ITEMS; i++)
		put_matter(s, i % 3 == 0 ? PW_MATTER_RUNG : PW_MATTER_HOLE, i);
	do {
		look = look_at(s, &quiet, NOW);
		for (size_t i = 0; i < look.items; i++, told++) {
			assert_int_equal(look.item[i].matter.kind,
					 told < PW_LOOK_ITEMS ? PW_MATTER_RUNG : PW_MATTER_HOLE);
			put_told(s, look.item[i].telling, look.item[i].matter.kind, NOW);
		}
	} while (look.next_ms == NOW);
	assert_int_equal(told, 3 * PW_LOOK_ITEMS);
	close_store(s);
}

/* -- the digest's hour -------------------------------------------------------------------------------- */

/* Through a whole year an office looks now and then: one digest for each day, none twice. */
static void test_a_digest_a_day(void **state)
{
	static const struct { int line; unsigned hour; } cases[] = {
		{ __LINE__, 6 },
		{ __LINE__, 0 },
		{ __LINE__, 1 }, /* comes twice on Sun 2 Nov 2025 */
		{ __LINE__, 2 }, /* is skipped on Sun 9 Mar 2025 */
		{ __LINE__, 23 },
	};

	(void)state;
	for (size_t c = 0; c < COUNT(cases); c++) {
		struct pw_office_conf conf = { .digest_hour = cases[c].hour, .silent_days = 3 };
		struct pw_store *s = open_store();
		int32_t last = 0;
		unsigned days = 0;

		for (int64_t now = INT64_C(1735736400000); now < INT64_C(1767272400000);) { /* 2025 */
			struct pw_look look = look_at(s, &conf, now);

			if (look.items > 1 || look.next_ms <= now || look.next_ms > now + 25 * HOUR)
				fail_msg("line %d: %zu items at %lld", cases[c].line, look.items, (long long)now);
			if (look.items == 1) {
				if (last != 0)
					assert_int_equal(look.item[0].telling.day, pw_hours_add(last, 1));
				last = look.item[0].telling.day;
				days++;
				assert_non_null(look.item[0].digest);
				put_told(s, look.item[0].telling, PW_MATTER_NONE, now);
			}
			pw_look_free(&look);
			now = look.next_ms;
		}
		assert_int_equal(days, 366); /* and the one that was due before the first look */
		close_store(s);
	}
}

/* One that does not get through in its day gives way to the next. */
static void test_an_old_digest(void **state)
{
	const struct pw_office_conf conf = { .digest_hour = 6, .silent_days = 3 };
	struct pw_store *s = open_store();
	struct pw_look look = look_at(s, &conf, NOW);
	struct pw_telling t;
	char why[200];

	(void)state;
	assert_int_equal(look.items, 1);
	assert_int_equal(look.item[0].telling.day, 20251013);
	t = look.item[0].telling;
	pw_look_free(&look);
	pw_tell_failed(&t, "away", 0, NOW);
	assert_int_equal(pw_store_telling_put(s, &t, why, sizeof(why)), 0);
	look = look_at(s, &conf, NOW + DAY);
	assert_int_equal(look.items, 1);
	assert_int_equal(look.item[0].telling.day, 20251014);
	pw_look_free(&look);
	assert_int_equal(pw_store_telling(s, 0, 20251013, "mail", &t, why, sizeof(why)), 1);
	assert_int_equal(t.next_ms, NEVER);
	close_store(s);
}

/* -- the teller ----------------------------------------------------------------------------------------- */

struct world {
	struct server web, smtp;
	char maildir[100], db[100];
	struct pw_office office;
};

static void start_web(struct world *w, const char *path)
{
	const char *const argv[] = { "/usr/bin/python3", "tests/office/web_receiver.py", folder, NULL };

	start_server(&w->web, argv);
	hear_port(&w->web);
	snprintf(w->office.conf.webhook, sizeof(w->office.conf.webhook), "http://127.0.0.1:%d%s",
		 w->web.port, path);
	snprintf(w->office.conf.webhook_secret_file, sizeof(w->office.conf.webhook_secret_file),
		 "%s/secret", folder);
}

static void start_smtp(struct world *w)
{
	const char *const argv[] = { "/usr/bin/python3", "tests/office/smtp_server.py", w->maildir, NULL };

	start_server(&w->smtp, argv);
	hear_port(&w->smtp);
	snprintf(w->office.conf.mail_server, sizeof(w->office.conf.mail_server), "smtp://127.0.0.1:%d",
		 w->smtp.port);
}

/* A desk with a store of its own; ways as they are started before start_teller. */
static void begin(struct world *w)
{
	static unsigned count;
	char why[200];

	*w = (struct world){ .office.conf = quiet };
	pw_secret_key_from((const unsigned char *)"a seed of thirty-two characters.", &w->office.key);
	snprintf(w->maildir, sizeof(w->maildir), "%s/box-%u", folder, count);
	snprintf(w->db, sizeof(w->db), "%s/office-%u.db", folder, count++);
	strcpy(w->office.conf.mail_from, "office@tamarack.example");
	strcpy(w->office.conf.mail_to, "d12@tamarack.example");
	if (pw_desk_start(w->db, &w->office.desk, why, sizeof(why)) != 0)
		fail_msg("%s", why);
}

static void start_teller(struct world *w)
{
	char why[200];

	if (pw_teller_start(&w->office, &w->office.teller, why, sizeof(why)) != 0)
		fail_msg("%s", why);
}

static void stop_teller(struct world *w)
{
	pw_teller_stop(w->office.teller);
	w->office.teller = NULL;
}

static void end(struct world *w)
{
	stop_teller(w);
	pw_desk_stop(w->office.desk);
	if (w->web.pid > 0)
		end_server(&w->web);
	if (w->smtp.pid > 0)
		end_server(&w->smtp);
}

static void on_desk(struct world *w, int (*work)(struct pw_store *s, void *ctx, char *why, size_t size),
		    void *ctx)
{
	char why[240];

	if (pw_desk_do(w->office.desk, work, ctx, why, sizeof(why)) < 0)
		fail_msg("%s", why);
}

static int work_put(struct pw_store *s, void *ctx, char *why, size_t size)
{
	int result = pw_store_matter_put(s, ctx, why, size);

	return result < 0 ? result : 0;
}

static struct pw_matter matter_comes(struct world *w, enum pw_matter_kind kind)
{
	struct pw_matter m = a_matter(kind);

	m.came_ms = pw_office_now_ms();
	on_desk(w, work_put, &m);
	pw_teller_wake(w->office.teller);
	return m;
}

static int work_take(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct pw_matter *m = ctx;
	const uint64_t id = m->id;

	return pw_store_matter_take(s, id, "d12", "called the driver", pw_office_now_ms(), m, why, size) == 1
		       ? 0 : -2;
}

static int work_telling(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct pw_telling *t = ctx;
	struct pw_telling found;
	int result = pw_store_telling(s, t->matter, t->day, t->way, &found, why, size);

	if (result > 0)
		*t = found;
	return result < 0 ? result : 0;
}

static int work_telling_put(struct pw_store *s, void *ctx, char *why, size_t size)
{
	return pw_store_telling_put(s, ctx, why, size);
}

static int64_t monotonic_ms(void)
{
	struct timespec t;

	clock_gettime(CLOCK_MONOTONIC, &t);
	return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

/* The telling once it was tried so often in vain, and got through so often. */
static struct pw_telling noted(struct world *w, uint64_t matter, int32_t day, const char *way,
			       uint32_t tries, uint32_t told)
{
	const int64_t ends_ms = monotonic_ms() + PATIENCE_MS;
	struct pw_telling t = { .matter = matter, .day = day };

	strcpy(t.way, way);
	for (;;) {
		on_desk(w, work_telling, &t);
		if (t.tries == tries && t.told == told)
			return t;
		if (monotonic_ms() > ends_ms)
			fail_msg("%s of matter %u: tried %u, told %u times: %s", way, (unsigned)matter,
				 t.tries, t.told, t.why);
		poll(NULL, 0, 2);
	}
}

static json_t *web_body(struct world *w)
{
	char line[8192], path[100];
	json_t *request, *body;

	hear(&w->web, line, sizeof(line));
	request = parsed(line);
	snprintf(path, sizeof(path), "%s/%d.body", folder,
		 (int)json_integer_value(json_object_get(request, "number")));
	body = json_load_file(path, 0, NULL);
	assert_non_null(body);
	json_decref(request);
	return body;
}

static void assert_web(struct world *w, const char *kind, int telling)
{
	json_t *body = web_body(w);

	assert_string_equal(text_of(body, "kind"), kind);
	assert_int_equal(json_integer_value(json_object_get(body, "telling")), telling);
	json_decref(body);
}

/* The subjects of all mails that came, sorted by their ids. */
static void assert_mails(struct world *w, const char *const subjects[])
{
	struct output o;

	ask(&o, "tests/office/mails.py read %s", w->maildir);
	for (size_t i = 0; subjects[i] != NULL; i++) {
		json_t *mail;

		if (!next_line(&o))
			fail_msg("no mail: %s", subjects[i]);
		mail = parsed(o.line);
		assert_string_equal(text_of(mail, "subject"), subjects[i]);
		json_decref(mail);
	}
	assert_false(next_line(&o));
	end_output(&o);
}

static void test_told_and_taken(void **state)
{
	static const char *const one[] = { "Bus 14: a walk found a child", NULL };
	static const char *const both[] = { "Taken by d12: bus 14: a walk found a child",
					    "Bus 14: a walk found a child", NULL };
	struct world w;
	struct pw_matter m;
	struct pw_telling t;

	(void)state;
	begin(&w);
	start_web(&w, "/200");
	start_smtp(&w);
	start_teller(&w);
	m = matter_comes(&w, PW_MATTER_CHILD);
	assert_web(&w, "child", 1);
	t = noted(&w, m.id, 0, "webhook", 0, 1);
	assert_true(t.next_ms - t.told_ms == 900 * SECOND);
	noted(&w, m.id, 0, "mail", 0, 1);
	assert_mails(&w, one);

	on_desk(&w, work_take, &m);
	pw_teller_wake(w.office.teller);
	assert_web(&w, "taken", 1);
	noted(&w, m.id, PW_TELL_TAKEN, "webhook", 0, 1);
	noted(&w, m.id, PW_TELL_TAKEN, "mail", 0, 1);
	t = noted(&w, m.id, 0, "mail", 0, 1);
	assert_true(t.next_ms == NEVER);
	t = noted(&w, m.id, PW_TELL_TAKEN, "mail", 0, 1);
	assert_true(t.next_ms == NEVER);
	assert_mails(&w, both);
	end(&w);
}

/* A restart tells nothing twice; and what is due again then is a reminder. */
static void test_restart(void **state)
{
	struct world w;
	struct pw_matter m, other;
	struct pw_telling t;

	(void)state;
	begin(&w);
	start_web(&w, "/200");
	start_teller(&w);
	m = matter_comes(&w, PW_MATTER_RUNG);
	assert_web(&w, "rung", 1);
	t = noted(&w, m.id, 0, "webhook", 0, 1);
	stop_teller(&w);
	start_teller(&w);
	other = matter_comes(&w, PW_MATTER_CHILD);
	assert_web(&w, "child", 1); /* and no rung before it */
	noted(&w, other.id, 0, "webhook", 0, 1);
	t.next_ms = t.told_ms;
	on_desk(&w, work_telling_put, &t);
	pw_teller_wake(w.office.teller);
	assert_web(&w, "rung", 2);
	noted(&w, m.id, 0, "webhook", 0, 2);
	end(&w);
}

/* It crashed after it had told, and before that was noted: the row is as it was. What comes again has the
 * same id and the same number. */
static void test_crash(void **state)
{
	struct world w;
	struct pw_telling t;
	json_t *first, *second;
	struct pw_matter m;

	(void)state;
	begin(&w);
	start_web(&w, "/200");
	start_teller(&w);
	m = matter_comes(&w, PW_MATTER_RUNG);
	first = web_body(&w);
	t = noted(&w, m.id, 0, "webhook", 0, 1);
	stop_teller(&w);
	t.told = 0;
	t.told_ms = 0;
	t.next_ms = m.came_ms;
	on_desk(&w, work_telling_put, &t);
	start_teller(&w);
	second = web_body(&w);
	assert_true(json_equal(first, second));
	noted(&w, m.id, 0, "webhook", 0, 1);
	json_decref(first);
	json_decref(second);
	end(&w);
}

static void test_in_vain(void **state)
{
	struct world w;
	struct pw_telling t;
	struct pw_matter m;

	(void)state;
	begin(&w);
	start_web(&w, "/count/1"); /* 503 once */
	start_teller(&w);
	m = matter_comes(&w, PW_MATTER_RUNG);
	assert_web(&w, "rung", 1);
	t = noted(&w, m.id, 0, "webhook", 1, 0);
	assert_string_equal(t.why, "the receiver answered 503");
	assert_in_range(t.next_ms - pw_office_now_ms(), 10 * SECOND, 60 * SECOND);
	t.next_ms = m.came_ms;
	on_desk(&w, work_telling_put, &t);
	pw_teller_wake(w.office.teller);
	assert_web(&w, "rung", 1);
	t = noted(&w, m.id, 0, "webhook", 0, 1);
	assert_string_equal(t.why, "");
	end(&w);
}

/* The mail server takes the call and never says a word. Webhooks go on, so does the desk, and the teller
 * can be stopped. */
static void test_dead_mail_server(void **state)
{
	struct pw_telling mail = { .way = "mail" };
	struct pollfd caller;
	struct world w;
	struct pw_matter key, m;
	int64_t begun_ms;
	int port;

	(void)state;
	begin(&w);
	start_web(&w, "/200");
	caller = (struct pollfd){ .fd = listen_and_say_nothing(&port), .events = POLLIN };
	snprintf(w.office.conf.mail_server, sizeof(w.office.conf.mail_server), "smtp://127.0.0.1:%d", port);
	start_teller(&w);
	key = matter_comes(&w, PW_MATTER_KEY);
	mail.matter = key.id;
	assert_int_equal(poll(&caller, 1, PATIENCE_MS), 1); /* it hangs there now */
	assert_web(&w, "key", 1);
	noted(&w, key.id, 0, "webhook", 0, 1);
	m = matter_comes(&w, PW_MATTER_CHILD);
	assert_web(&w, "child", 1);
	noted(&w, m.id, 0, "webhook", 0, 1);
	begun_ms = monotonic_ms();
	stop_teller(&w);
	assert_true(monotonic_ms() - begun_ms < 8000);
	on_desk(&w, work_telling, &mail);
	assert_int_equal(mail.told + mail.tries, 0); /* what was broken off counts as no try */
	assert_true(mail.next_ms > 0 && mail.next_ms <= pw_office_now_ms());
	end(&w);
	close(caller.fd);
}

static void test_nobody_to_tell(void **state)
{
	struct world w;

	(void)state;
	begin(&w);
	start_teller(&w);
	matter_comes(&w, PW_MATTER_CHILD);
	end(&w);
	pw_teller_wake(NULL);
	pw_teller_stop(NULL);
}

/* -- postwalk-office tell ----------------------------------------------------------------------------------- */

static int test_message(const struct pw_office *o, char text[1000])
{
	FILE *out = fmemopen(text, 1000, "w");
	int status;

	assert_non_null(out);
	status = pw_tell_test(o, out);
	assert_int_equal(fclose(out), 0);
	return status;
}

static void test_a_test(void **state)
{
	static const char *const subjects[] = { "A test of the office's alerts", NULL };
	char text[1000];
	struct world w;

	(void)state;
	begin(&w);
	assert_int_equal(test_message(&w.office, text), 2);
	start_web(&w, "/200");
	start_smtp(&w);
	assert_int_equal(test_message(&w.office, text), 0);
	assert_string_equal(text, "mail: the test got through\nwebhook: the test got through\n");
	assert_web(&w, "test", 1);
	assert_mails(&w, subjects);
	snprintf(w.office.conf.webhook, sizeof(w.office.conf.webhook), "http://127.0.0.1:%d/500", w.web.port);
	assert_int_equal(test_message(&w.office, text), 1);
	assert_string_equal(text, "mail: the test got through\n"
			    "webhook: the test did not get through: the receiver answered 500\n");
	end(&w);
}

static int make_world(void **state)
{
	if (make_folder(state) != 0)
		return -1;
	put_file("secret", "a secret of the yard, in a file\n");
	return 0;
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_again),
		cmocka_unit_test(test_retry),
		cmocka_unit_test(test_due),
		cmocka_unit_test(test_after_a_try),
		cmocka_unit_test(test_look),
		cmocka_unit_test(test_look_by_way),
		cmocka_unit_test(test_look_when_taken),
		cmocka_unit_test(test_look_at_many),
		cmocka_unit_test(test_a_digest_a_day),
		cmocka_unit_test(test_an_old_digest),
		cmocka_unit_test(test_told_and_taken),
		cmocka_unit_test(test_restart),
		cmocka_unit_test(test_crash),
		cmocka_unit_test(test_in_vain),
		cmocka_unit_test(test_dead_mail_server),
		cmocka_unit_test(test_nobody_to_tell),
		cmocka_unit_test(test_a_test),
	};

	if (begin_tests() != 0)
		return 1;
	return cmocka_run_group_tests(tests, make_world, remove_folder);
}
