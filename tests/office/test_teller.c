/* SPDX-License-Identifier: Apache-2.0 */
/* That people are told: the teller with desk, store, a mail server and a receiver of webhooks. */
#include "tell_help.h"

#define SECOND INT64_C(1000)
#define NEVER INT64_MAX

static const struct pw_office_conf quiet = { .digest_hour = 24, .tell_again_s = 900,
					     .silent_days = 3 };

/* -- the teller -------------------------------------------------------------------------------- */

struct world {
	struct server web, smtp;
	char maildir[100], db[100];
	struct pw_office office;
};

static void start_web(struct world *w, const char *path)
{
	const char *const argv[] = { "/usr/bin/python3", "tests/office/web_receiver.py", folder,
				     NULL };

	start_server(&w->web, argv);
	hear_port(&w->web);
	snprintf(w->office.conf.webhook, sizeof(w->office.conf.webhook), "http://127.0.0.1:%d%s",
		 w->web.port, path);
	snprintf(w->office.conf.webhook_secret_file, sizeof(w->office.conf.webhook_secret_file),
		 "%s/secret", folder);
}

static void start_smtp(struct world *w)
{
	const char *const argv[] = { "/usr/bin/python3", "tests/office/smtp_server.py", w->maildir,
				     NULL };

	start_server(&w->smtp, argv);
	hear_port(&w->smtp);
	snprintf(w->office.conf.mail_server, sizeof(w->office.conf.mail_server),
		 "smtp://127.0.0.1:%d",
		 w->smtp.port);
}

/* A desk with a store of its own; ways as they are started before start_teller. */
static void begin(struct world *w)
{
	static unsigned count;
	char why[200];

	*w = (struct world){ .office.conf = quiet };
	pw_secret_key_from((const unsigned char *)"a seed of thirty-two characters.",
			   &w->office.key);
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

static void on_desk(struct world *w, int (*work)(struct pw_store *s, void *ctx, char *why,
						 size_t size),
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

	return pw_store_matter_take(s, id, "d12", "called the driver", pw_office_now_ms(), m, why,
				    size) == 1
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
			fail_msg("%s of matter %u: tried %u, told %u times: %s", way,
				 (unsigned)matter,
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

	begin_output(&o, "tests/office/mails.py read %s", w->maildir);
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

/* It crashed after it had told, and before that was noted: the row is as it was. What comes again
 * has the same id and the same number. */
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

/* The mail server takes the call and never says a word. Webhooks go on, so does the desk, and the
 * teller can be stopped. */
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
	snprintf(w.office.conf.mail_server, sizeof(w.office.conf.mail_server),
		 "smtp://127.0.0.1:%d", port);
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

/* -- postwalk-office tell ---------------------------------------------------------------------- */

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
	snprintf(w.office.conf.webhook, sizeof(w.office.conf.webhook), "http://127.0.0.1:%d/500",
		 w.web.port);
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
