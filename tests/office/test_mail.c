/* SPDX-License-Identifier: Apache-2.0 */
/*
 * What is told as a mail: read back by Python's email package, and taken by a mail server of the
 * distribution (aiosmtpd) over SMTP (RFC 5321), STARTTLS (RFC 3207) and SMTP AUTH (RFC 4954).
 */
#include "tell_help.h"

#define FROM "office@tamarack.example"
#define OFFICE "0123456789ab"

/* -- the text ---------------------------------------------------------------------------------- */

static void put_mail(const char *name, const struct pw_news *n, const char *subject)
{
	char file[40], *mail = pw_mail_text(n, FROM, "d12@tamarack.example", NOW), *body;

	assert_non_null(mail);
	snprintf(file, sizeof(file), "%s.mail", name);
	put_file(file, mail);
	snprintf(file, sizeof(file), "%s.subject", name);
	put_file(file, subject);
	snprintf(file, sizeof(file), "%s.body", name);
	assert_true(asprintf(&body, "%s\n\n%s", n->words, n->next) > 0);
	put_file(file, body);
	free(body);
	free(mail);
}

static uint32_t draw(uint32_t *x)
{
	*x = *x * 1664525 + 1013904223; /* constants of Numerical Recipes, from memory */
	return *x >> 8;
}

static uint32_t seed_of(const char *test)
{
	const char *given = getenv("SEED");
	uint32_t seed = given ? (uint32_t)strtoul(given, NULL, 0) : 20251014;

	print_message("%s: SEED=%u\n", test, seed);
	return seed;
}

/* Characters of one to four bytes, blanks at line ends, '=', dots, nothing at all. */
static void random_text(char *to, size_t most, bool one_line, uint32_t *x)
{
	static const char *const pieces[] = {
		"a", "Z", "0", " ", " ", ".", "=", "?", "=?", "_", "-", "\"", ",", "\xc3\xa9",
		"\xe2\x82\xac", "\xf0\x9f\x9a\x8c", "walk", "\n", "\n.", " \n", "From ", "bus",
		"123456789012345678901234567890123456789012345678901234567890",
	};
	size_t left = draw(x) % most;

	*to = '\0';
	for (;;) {
		const char *piece = pieces[draw(x) % COUNT(pieces)];

		if (strlen(piece) > left)
			return;
		if (one_line && strchr(piece, '\n') != NULL)
			continue;
		to = stpcpy(to, piece);
		left -= strlen(piece);
	}
}

/* A subject is words: white space at its ends and twice in a row need not come through. */
static void squeeze(char *text)
{
	char *to = text;

	for (const char *p = text; *p != '\0'; p++)
		if (*p != ' ' || (to > text && to[-1] != ' '))
			*to++ = *p;
	while (to > text && to[-1] == ' ')
		to--;
	*to = '\0';
}

static void test_random_texts(void **state)
{
	struct pw_news n;
	char names[300 * 8] = "", name[16], words[3000];
	uint32_t x = seed_of("random_texts");

	(void)state;
	for (unsigned i = 0; i < 300; i++) {
		assert_int_equal(pw_news_test(&n, OFFICE, NOW), 0);
		do {
			random_text(n.subject, sizeof(n.subject), true, &x);
			squeeze(n.subject);
		} while (n.subject[0] == '\0');
		random_text(words, sizeof(words), false, &x);
		free(n.words);
		n.words = strdup(words);
		snprintf(name, sizeof(name), "m%u", i);
		put_mail(name, &n, n.subject);
		snprintf(names + strlen(names), sizeof(names) - strlen(names), " m%u", i);
		pw_news_free(&n);
	}
	if (run("dir=$PWD && cd %s && $dir/tests/office/mails.py same%s", folder, names) != 0)
		fail_msg("what Python read is not what was written; the files are of random texts");
}

/* A bus's id is checked long before; here it is not relied on. */
static void test_nothing_breaks_out(void **state)
{
	struct pw_matter m = a_matter(PW_MATTER_CHILD);
	struct pw_telling t = { .matter = 17 };
	struct pw_news n;

	(void)state;
	strcpy(m.bus, "1\r\nBcc: x@y.example\r\n\r\n");
	assert_int_equal(pw_news_matter(&n, OFFICE, &m, &t), 0);
	put_mail("out", &n, "Bus 1  Bcc: x@y.example    : a walk found a child");
	pw_news_free(&n);
	assert_int_equal(run("dir=$PWD && cd %s && $dir/tests/office/mails.py same out", folder),
			 0);
}

/* -- names that stay --------------------------------------------------------------------------- */

static void test_ids(void **state)
{
	static const struct { int line; uint32_t tries,
			      told; int32_t day; const char *id; } cases[] = {
		{ __LINE__, 0, 0, 0,
		  "Message-ID: <0123456789ab-matter-17-1760474520000.1@tamarack.example>" },
		/* a try that is made again is the same mail */
		{ __LINE__, 3, 0, 0,
		  "Message-ID: <0123456789ab-matter-17-1760474520000.1@tamarack.example>" },
		/* a reminder is another, of the same thread */
		{ __LINE__, 0, 1, 0,
		  "Message-ID: <0123456789ab-matter-17-1760474520000.2@tamarack.example>\r\n"
		  "In-Reply-To: <0123456789ab-matter-17-1760474520000.1@tamarack.example>" },
		{ __LINE__, 0, 0, PW_TELL_TAKEN, "Message-ID: "
		  "<0123456789ab-matter-17-1760474520000-taken.1@tamarack.example>\r\n"
		  "In-Reply-To: <0123456789ab-matter-17-1760474520000.1@tamarack.example>" },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		struct pw_telling t = { .matter = 17, .day = cases[i].day, .tries = cases[i].tries,
					.told = cases[i].told };
		struct pw_matter m = a_matter(PW_MATTER_CHILD);
		struct pw_news n;
		char *mail;

		m.taken_ms = cases[i].day != 0 ? NOW : 0;
		assert_int_equal(pw_news_matter(&n, OFFICE, &m, &t), 0);
		mail = pw_mail_text(&n, FROM, "d12@tamarack.example", NOW);
		if (strstr(mail, cases[i].id) == NULL)
			fail_msg("line %d: %s", cases[i].line, mail);
		free(mail);
		pw_news_free(&n);
	}
}

/* -- a server ---------------------------------------------------------------------------------- */

struct post {
	struct server server;
	char maildir[100];
	struct pw_office_conf conf;
};

__attribute__((sentinel))
static void begin(struct post *p, const char *scheme, const char *host, ...)
{
	const char *argv[16] = { "/usr/bin/python3", "tests/office/smtp_server.py", p->maildir };
	size_t count = 3;
	va_list args;

	*p = (struct post){ .conf = { .mail_from = FROM } };
	snprintf(p->maildir, sizeof(p->maildir), "%s/mail-XXXXXX", folder);
	assert_non_null(mkdtemp(p->maildir));
	assert_int_equal(rmdir(p->maildir), 0); /* the server makes a Maildir of it */
	va_start(args, host);
	while ((argv[count] = va_arg(args, const char *)) != NULL)
		count++;
	va_end(args);
	start_server(&p->server, argv);
	hear_port(&p->server);
	snprintf(p->conf.mail_server, sizeof(p->conf.mail_server), "%s://%s:%d", scheme, host,
		 p->server.port);
}

static void end(struct post *p)
{
	end_server(&p->server);
}

static int send_mail(const struct post *p, const struct pw_news *n, char why[200])
{
	return pw_mail_send(&p->conf, n, NOW, NULL, why, 200);
}

static int send_test(const struct post *p, char why[200])
{
	struct pw_news n;
	int result;

	assert_int_equal(pw_news_test(&n, OFFICE, NOW), 0);
	result = send_mail(p, &n, why);
	pw_news_free(&n);
	return result;
}

static unsigned mails_in(const struct post *p)
{
	struct output o;
	unsigned count = 0;

	begin_output(&o, "tests/office/mails.py read %s", p->maildir);
	while (next_line(&o))
		count++;
	end_output(&o);
	return count;
}

static void test_child_by_smtp(void **state)
{
	static const char *const who[] = { "d12@tamarack.example", "yard@tamarack.example" };
	struct pw_matter m = a_matter(PW_MATTER_CHILD);
	struct pw_telling t = { .matter = 17 };
	struct pw_news n;
	struct post p;
	struct output o;
	char why[200];

	(void)state;
	begin(&p, "smtp", "127.0.0.1", NULL);
	strcpy(p.conf.mail_to, " d12@tamarack.example  yard@tamarack.example ");
	assert_int_equal(pw_news_matter(&n, OFFICE, &m, &t), 0);
	assert_int_equal(send_mail(&p, &n, why), 0);
	assert_string_equal(why, "");
	begin_output(&o, "tests/office/mails.py read %s", p.maildir);
	for (size_t i = 0; i < COUNT(who); i++) {
		json_t *mail, *to;

		assert_true(next_line(&o));
		mail = parsed(o.line);
		to = json_object_get(mail, "to");
		assert_string_equal(text_of(mail, "rcpt"), who[i]);
		assert_string_equal(text_of(mail, "mailfrom"), FROM);
		assert_string_equal(text_of(mail, "from"), "Postwalk office <" FROM ">");
		assert_int_equal(json_array_size(to), 2);
		assert_string_equal(json_string_value(json_array_get(to, 0)), who[0]);
		assert_string_equal(json_string_value(json_array_get(to, 1)), who[1]);
		assert_string_equal(text_of(mail, "subject"), "Bus 14: a walk found a child");
		assert_string_equal(text_of(mail, "id"),
				    "<0123456789ab-matter-17-1760474520000.1@tamarack.example>");
		assert_true(json_number_value(json_object_get(mail, "time")) == NOW / 1000.0);
		assert_string_equal(text_of(mail, "auto"), "auto-generated");
		assert_string_equal(text_of(mail, "importance"), "high");
		assert_string_equal(text_of(mail, "type"), "text/plain");
		assert_string_equal(text_of(mail, "charset"), "utf-8");
		assert_int_equal(json_array_size(json_object_get(mail, "defects")), 0);
		assert_ptr_equal(strstr(text_of(mail, "body"), m.words), text_of(mail, "body"));
		assert_non_null(strstr(text_of(mail, "body"), "postwalk-office take 17 --by CODE"));
		assert_null(strstr(text_of(mail, "body"), "empty"));
		json_decref(mail);
	}
	assert_false(next_line(&o));
	end_output(&o);
	pw_news_free(&n);
	end(&p);
}

/* RFC 5321, 4.5.2: lines that begin with a dot, and one that is a dot alone. */
static void test_dots(void **state)
{
	struct pw_news n;
	struct post p;
	struct output o;
	char why[200];
	json_t *mail;

	(void)state;
	begin(&p, "smtp", "localhost", NULL);
	strcpy(p.conf.mail_to, "d12@tamarack.example");
	assert_int_equal(pw_news_test(&n, OFFICE, NOW), 0);
	free(n.words);
	n.words = strdup(".\n..\n.begins\nQuit\n\n.");
	assert_int_equal(send_mail(&p, &n, why), 0);
	begin_output(&o, "tests/office/mails.py read %s", p.maildir);
	assert_true(next_line(&o));
	mail = parsed(o.line);
	assert_ptr_equal(strstr(text_of(mail, "body"), ".\n..\n.begins\nQuit\n\n.\n\nWhoever"),
			 text_of(mail, "body"));
	json_decref(mail);
	end_output(&o);
	pw_news_free(&n);
	end(&p);
}

static void test_one_is_refused(void **state)
{
	struct post p;
	char why[200];

	(void)state;
	begin(&p, "smtp", "127.0.0.1", "--refuse", "gone@tamarack.example", NULL);
	strcpy(p.conf.mail_to, "gone@tamarack.example d12@tamarack.example");
	assert_int_equal(send_test(&p, why), 0);
	assert_non_null(strstr(why, "gone@tamarack.example did not get it: "));
	assert_non_null(strstr(why, "550"));
	assert_int_equal(mails_in(&p), 1);
	strcpy(p.conf.mail_to, "gone@tamarack.example");
	assert_int_equal(send_test(&p, why), -1);
	assert_non_null(strstr(why, "gone@tamarack.example did not get it: "));
	assert_int_equal(mails_in(&p), 1);
	end(&p);
}

/* The office's server takes nothing now: nothing is lost, it is tried again. */
static void test_not_now(void **state)
{
	struct post p;
	char why[200];

	(void)state;
	begin(&p, "smtp", "127.0.0.1", "--no-mail", NULL);
	strcpy(p.conf.mail_to, "d12@tamarack.example");
	assert_int_equal(send_test(&p, why), -1);
	assert_non_null(strstr(why, "451"));
	end(&p);
}

static void test_login(void **state)
{
	struct post p;
	char why[200];

	(void)state;
	begin(&p, "smtp", "127.0.0.1", "--auth", "postwalk", "secret words", NULL);
	strcpy(p.conf.mail_to, "d12@tamarack.example");
	assert_int_equal(send_test(&p, why), -1);
	strcpy(p.conf.mail_user, "postwalk");
	snprintf(p.conf.mail_password_file, sizeof(p.conf.mail_password_file), "%s/password",
		 folder);
	assert_int_equal(send_test(&p, why), -1);
	assert_non_null(strstr(why, "password: No such file"));
	put_file("password", "wrong\n");
	assert_int_equal(send_test(&p, why), -1);
	assert_int_equal(mails_in(&p), 0);
	put_file("password", "secret words\n");
	assert_int_equal(send_test(&p, why), 0);
	assert_int_equal(mails_in(&p), 1);
	end(&p);
}

/* -- TLS: 0.0.0.0 is this machine too, and no loopback address --------------------------------- */

static char *tls_file(const char *name, char path[100])
{
	snprintf(path, 100, "%s/%s", folder, name);
	return path;
}

static void trust(bool yes)
{
	char path[100];

	if (yes)
		setenv("SSL_CERT_FILE", tls_file("tls.crt", path), 1);
	else
		unsetenv("SSL_CERT_FILE");
}

/* Nothing is sent to another machine in the clear, whatever its server says. */
static void test_no_starttls(void **state)
{
	struct post p;
	char why[200];

	(void)state;
	begin(&p, "smtp", "0.0.0.0", "--host", "0.0.0.0", NULL);
	strcpy(p.conf.mail_to, "d12@tamarack.example");
	assert_int_equal(send_test(&p, why), -1);
	assert_non_null(strstr(why, "STARTTLS"));
	assert_int_equal(mails_in(&p), 0);
	end(&p);
}

static void test_starttls(void **state)
{
	char crt[100], key[100], why[200];
	struct post p;

	(void)state;
	begin(&p, "smtp", "0.0.0.0", "--host", "0.0.0.0", "--tls", tls_file("tls.crt", crt),
	      tls_file("tls.key", key), NULL);
	strcpy(p.conf.mail_to, "d12@tamarack.example yard@tamarack.example");
	assert_int_equal(send_test(&p, why), -1); /* nobody vouches for that certificate */
	assert_non_null(strstr(why, "certificate"));
	trust(true);
	assert_int_equal(send_test(&p, why), 0);
	trust(false);
	assert_int_equal(mails_in(&p), 2);
	end(&p);
}

static void test_smtps(void **state)
{
	char crt[100], key[100], why[200];
	struct post p;

	(void)state;
	begin(&p, "smtps", "127.0.0.1", "--smtps", tls_file("tls.crt", crt), tls_file("tls.key",
										      key),
	      NULL);
	strcpy(p.conf.mail_to, "d12@tamarack.example");
	assert_int_equal(send_test(&p, why), -1);
	trust(true);
	assert_int_equal(send_test(&p, why), 0);
	trust(false);
	assert_int_equal(mails_in(&p), 1);
	end(&p);
}

/* -- what is not so ---------------------------------------------------------------------------- */

static void test_addresses(void **state)
{
	static const struct { int line; const char *from, *to, *why; } cases[] = {
		{ __LINE__, "", "a@b", "from in [mail]: expected an address" },
		{ __LINE__, "office", "a@b", "from in [mail]: expected an address" },
		{ __LINE__, "a@b\r\nRSET", "a@b", "from in [mail]: expected an address" },
		{ __LINE__, "Yard <a@b>", "a@b", "from in [mail]: expected an address" },
		{ __LINE__, "a@b", "", "to in [mail]: expected at least one address" },
		{ __LINE__, "a@b", "  ", "to in [mail]: expected at least one address" },
		{ __LINE__, "a@b", "c@d, e@f",
		  "to in [mail]: expected addresses with spaces between" },
		{ __LINE__, "a@b", "c@d\te@f",
		  "to in [mail]: expected addresses with spaces between" },
		{ __LINE__, "a@b", "c@d @f",
		  "to in [mail]: expected addresses with spaces between" },
		{ __LINE__, "a@b", "\xc3\xa9@f",
		  "to in [mail]: expected addresses with spaces between" },
	};
	struct post p = { .conf = { .mail_server = "smtp://127.0.0.1:1" } };
	char why[200];

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		strcpy(p.conf.mail_from, cases[i].from);
		strcpy(p.conf.mail_to, cases[i].to);
		if (send_test(&p, why) != -1 || strstr(why, cases[i].why) != why)
			fail_msg("line %d: %s", cases[i].line, why);
	}
	strcpy(p.conf.mail_to, "c@d");
	strcpy(p.conf.mail_server, "http://127.0.0.1:1/");
	assert_int_equal(send_test(&p, why), -1);
}

static void test_nobody_there(void **state)
{
	struct post p = { .conf = { .mail_from = FROM, .mail_to = "d12@tamarack.example" } };
	char why[200];

	(void)state;
	snprintf(p.conf.mail_server, sizeof(p.conf.mail_server), "smtp://127.0.0.1:%d",
		 closed_port());
	assert_int_equal(send_test(&p, why), -1);
	assert_non_null(strstr(why, "d12@tamarack.example did not get it: "));
}

struct stopper {
	int listener;
	atomic_bool stop;
};

/* Once it has called: by then the server's first word is waited for, and it never comes. */
static void *stop_it(void *ctx)
{
	struct stopper *s = ctx;
	struct pollfd one = { .fd = s->listener, .events = POLLIN };

	poll(&one, 1, PATIENCE_MS);
	atomic_store(&s->stop, true);
	return NULL;
}

/* The office can be stopped while a server hangs. */
static void test_stop(void **state)
{
	struct post p = { .conf = { .mail_from = FROM, .mail_to = "d12@tamarack.example" } };
	struct timespec begun, ended;
	struct pw_news n;
	pthread_t thread;
	char why[200];
	int port;
	struct stopper s = { .listener = listen_and_say_nothing(&port) };

	(void)state;
	snprintf(p.conf.mail_server, sizeof(p.conf.mail_server), "smtp://127.0.0.1:%d", port);
	assert_int_equal(pw_news_test(&n, OFFICE, NOW), 0);
	assert_int_equal(pthread_create(&thread, NULL, stop_it, &s), 0);
	clock_gettime(CLOCK_MONOTONIC, &begun);
	assert_int_equal(pw_mail_send(&p.conf, &n, NOW, &s.stop, why, sizeof(why)), -1);
	clock_gettime(CLOCK_MONOTONIC, &ended);
	assert_true(ended.tv_sec - begun.tv_sec < 8); /* and not the 30 s of a transfer */
	pthread_join(thread, NULL);
	pw_news_free(&n);
	close(s.listener);
}

static int make_world(void **state)
{
	if (make_folder(state) != 0)
		return -1;
	make_certificate();
	return 0;
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_random_texts),
		cmocka_unit_test(test_nothing_breaks_out),
		cmocka_unit_test(test_ids),
		cmocka_unit_test(test_child_by_smtp),
		cmocka_unit_test(test_dots),
		cmocka_unit_test(test_one_is_refused),
		cmocka_unit_test(test_not_now),
		cmocka_unit_test(test_login),
		cmocka_unit_test(test_no_starttls),
		cmocka_unit_test(test_starttls),
		cmocka_unit_test(test_smtps),
		cmocka_unit_test(test_addresses),
		cmocka_unit_test(test_nobody_there),
		cmocka_unit_test(test_stop),
	};

	if (begin_tests() != 0)
		return 1;
	return cmocka_run_group_tests(tests, make_world, remove_folder);
}
