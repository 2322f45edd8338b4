/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The office's pages, by curl(1): signing in, roles, forms, tokens of programs, limits, languages and
 * headers; and that a page's files and the shell say the same.
 */
#include "web_help.h"
#include "office/web.h"

static struct pages pages;
static const char *const people[] = { "nobody", "viewer", "worker", "chief" };
static const enum pw_office_role roles[] = { PW_MAY_NOTHING, PW_MAY_SEE, PW_MAY_ACT,
					     PW_MAY_ADMINISTER };

static int set_up(void **state)
{
	(void)state;
	pages_begin(&pages, "zone = America/Chicago\n");
	make_person(&pages, "viewer", "see");
	make_person(&pages, "worker", "act");
	make_person(&pages, "chief", "administer");
	return 0;
}

static int tear_down(void **state)
{
	(void)state;
	office_end(&pages.office);
	return 0;
}

/* -- signing in -------------------------------------------------------------------------------- */

static void test_first_password(void **state)
{
	char first[40], fields[300];
	struct page page;

	(void)state;
	draw_account(&pages, "fresh", "administer", first);
	page = sign_in(&pages, "fresh", "fresh", first);
	assert_int_equal(page.status, 303);
	page_free(&page);
	page = fetch(&pages, "fresh", "/people", "");
	assert_int_equal(page.status, 303);
	assert_has(page.head, "Location: /password");
	page_free(&page);
	page = fetch(&pages, "fresh", "/people", "-d what=account");
	assert_page(&page, 403, "may not");
	page_free(&page);
	snprintf(fields, sizeof(fields), "-d now=%s -d new=elevenchars -d again=elevenchars", first);
	page = send_form(&pages, "fresh", "/password", fields);
	assert_page(&page, 422, "12 characters");
	page_free(&page);
	snprintf(fields, sizeof(fields), "-d now=%s -d new=twelve.chars -d again=twelve.charz", first);
	page = send_form(&pages, "fresh", "/password", fields);
	assert_page(&page, 422, "differ");
	page_free(&page);
	page = send_form(&pages, "fresh", "/password",
			 "-d now=not-this-one -d new=twelve.chars -d again=twelve.chars");
	assert_page(&page, 422, "not the password");
	page_free(&page);
	snprintf(fields, sizeof(fields), "-d now=%s -d new=twelve.chars -d again=twelve.chars", first);
	page = send_form(&pages, "fresh", "/password", fields);
	assert_int_equal(page.status, 303);
	page_free(&page);
	page = fetch(&pages, "fresh", "/people", "");
	assert_page(&page, 200, "<title>People");
	page_free(&page);
	page = sign_in(&pages, "other", "fresh", first);
	assert_page(&page, 422, "do not go together");
	page_free(&page);
}

/* A page that asks for it comes after it, and no other place does. */
static void test_then(void **state)
{
	static const struct { const char *then, *leads; } cases[] = {
		{ "/people", "Location: /people\r\n" },
		{ "/log?who=chief", "Location: /log?who=chief\r\n" },
		{ "//elsewhere.example/", NULL },
		{ "https://elsewhere.example/people", NULL },
		{ "/\\\\elsewhere.example", NULL },
	};
	struct page page = fetch(&pages, "then", "/log?who=chief", "");

	(void)state;
	assert_int_equal(page.status, 303);
	assert_has(page.head, "Location: /sign-in?then=%2Flog%3Fwho%3Dchief\r\n");
	page_free(&page);
	for (size_t i = 0; i < sizeof(cases) / sizeof(cases[0]); i++) {
		char fields[300];

		snprintf(fields, sizeof(fields), "-d code=chief --data-urlencode 'password=%s' "
			 "--data-urlencode 'then=%s'", OWN_PASSWORD, cases[i].then);
		page = send_form(&pages, "then", "/sign-in", fields);
		assert_int_equal(page.status, 303);
		if (cases[i].leads)
			assert_has(page.head, cases[i].leads);
		else
			assert_has_not(page.head, "elsewhere");
		page_free(&page);
	}
}

/* From an address of its own, so that nobody else is slowed down. */
static void test_wrong_tries(void **state)
{
	char token[65], more[300], *log;
	struct page page;
	int tries = 0;

	(void)state;
	do {
		page = fetch(&pages, "guess", "/sign-in", "--interface 127.0.0.9");
		token_in(page.body, "/sign-in", token);
		page_free(&page);
		snprintf(more, sizeof(more), "--interface 127.0.0.9 -d token=%s -d code=%s -d password=guess%d",
			 token, tries % 2 ? "nobody" : "guess-who", tries);
		page = fetch(&pages, "guess", "/sign-in", more);
		if (page.status == 422)
			assert_has(page.body, "do not go together"); /* whether there is the account or not */
		tries++;
		if (page.status != 429)
			page_free(&page);
	} while (page.status == 422 && tries < 30);
	assert_int_equal(page.status, 429);
	assert_int_equal(tries, PW_GUESSES_FREE + 1);
	assert_has(page.head, "Retry-After: ");
	page_free(&page);
	page = sign_in(&pages, "calm", "viewer", OWN_PASSWORD); /* another address, another code */
	assert_int_equal(page.status, 303);
	page_free(&page);
	page = sign_in(&pages, "calm", "chief", "not the password");
	assert_int_equal(page.status, 422);
	page_free(&page);
	log = office_do(&pages.office, "audit log --csv --whole");
	assert_has(log, ",chief,a wrong password was tried\r\n");
	assert_has_not(log, "guess-who"); /* it may have been a password in the wrong place */
	free(log);
}

static void test_session_ends(void **state)
{
	struct page page;

	(void)state;
	make_person(&pages, "leaver", "act");
	page = fetch(&pages, "leaver", "/keeping", "");
	assert_page(&page, 200, "leaver");
	page_free(&page);
	free(office_do(&pages.office, "account leaver --role see --by chief"));
	page = fetch(&pages, "leaver", "/keeping", "");
	assert_int_equal(page.status, 303);
	page_free(&page);
	page = sign_in(&pages, "leaver", "leaver", OWN_PASSWORD); /* its password stays */
	assert_int_equal(page.status, 303);
	page_free(&page);
	page = fetch(&pages, "leaver", "/keeping", "");
	assert_page(&page, 403, "may not");
	page_free(&page);
	free(office_do(&pages.office, "account leaver --role nothing"));
	page = sign_in(&pages, "leaver", "leaver", OWN_PASSWORD);
	assert_page(&page, 422, "do not go together");
	page_free(&page);
}

static void test_sign_out(void **state)
{
	struct page page = sign_in(&pages, "out", "viewer", OWN_PASSWORD);
	char *jar;

	(void)state;
	page_free(&page);
	jar = read_whole(pages.office.dir, "jar-out", 4096);
	page = send_form(&pages, "out", "/sign-out", "");
	assert_int_equal(page.status, 303);
	assert_has(page.head, "Max-Age=0");
	page_free(&page);
	office_write(&pages.office, "jar-out", jar); /* the cookie as it was is good for nothing */
	free(jar);
	page = fetch(&pages, "out", "/password", "");
	assert_int_equal(page.status, 303);
	page_free(&page);
}

/* -- forms ------------------------------------------------------------------------------------- */

#define HOLD "-d what=hold -d bus=14 -d from=2025-10-01 -d to=2025-10-31 -d words=asked-for"

static void test_forged_forms(void **state)
{
	char token[65], other[65], of_people[65], more[600];
	struct page page = fetch(&pages, "chief", "/keeping", "");
	const struct { const char *token, *more; } forged[] = {
		{ "", "" }, { other, "" }, { of_people, "" },
		{ token, "-H 'Origin: http://elsewhere.example'" }, { token, "-H 'Origin: null'" },
	};

	(void)state;
	token_in(page.body, "/keeping", token);
	page_free(&page);
	page = fetch(&pages, "worker", "/keeping", "");
	token_in(page.body, "/keeping", other);
	page_free(&page);
	page = fetch(&pages, "chief", "/people", "");
	token_in(page.body, "/people", of_people);
	page_free(&page);
	for (size_t i = 0; i < sizeof(forged) / sizeof(forged[0]); i++) {
		snprintf(more, sizeof(more), "%s -d token=%s " HOLD, forged[i].more, forged[i].token);
		page = fetch(&pages, "chief", "/keeping", more);
		assert_page(&page, 403, "not from a page of yours");
		page_free(&page);
	}
	page = fetch(&pages, "chief", "/keeping?as=csv&table=holds", "");
	assert_has_not(page.body, "asked-for");
	page_free(&page);
	snprintf(more, sizeof(more), "-H 'Origin: %s' -d token=%s " HOLD, pages.at, token);
	page = fetch(&pages, "chief", "/keeping", more);
	assert_int_equal(page.status, 303);
	page_free(&page);
	page = fetch(&pages, "chief", "/keeping", ""); /* told once */
	assert_has(page.body, "The hold stands.");
	page_free(&page);
	page = fetch(&pages, "chief", "/keeping", "");
	assert_has_not(page.body, "The hold stands.");
	page_free(&page);
}

static void test_wrong_fields(void **state)
{
	static const struct { const char *fields, *words; int status; } cases[] = {
		{ "-d what=hold -d from=2025-02-30 -d to=2025-03-01 -d words=x", "Expected a day", 422 },
		{ "-d what=hold -d from=2025-03-02 -d to=2025-03-01 -d words=x", "not before the first", 422 },
		{ "-d what=hold -d from=2025-03-01 -d to=2025-03-01 -d words=", "1 to 160 bytes", 422 },
		{ "-d what=hold -d bus=a%20bus -d from=2025-03-01 -d to=2025-03-01 -d words=x",
		  "Expected a bus", 422 },
		{ "-d what=lift -d id=999", "No hold of this number", 422 },
		{ "-d what=purge -d kind=views -d before=2020-01-01", "Tick that you know it", 422 },
		{ "-d what=purge -d kind=all -d before=2020-01-01 -d sure=1", "one of the kinds", 422 },
		{ "-d what=purge -d kind=views -d before=2999-01-01 -d sure=1", "30 days ago", 422 },
		{ "-d what=dance", "not as expected", 422 },
		{ "-d what=hold -d surprise=1", "not as expected", 400 },
		{ "-d what=hold -d words=%FF%FE", "not as expected", 400 },
		{ "-d what=hold -d words=$(printf 'x%.0s' $(seq 250))", "too long", 400 },
	};

	struct page page = fetch(&pages, "chief", "/keeping", "");
	char token[65], more[500];

	(void)state;
	token_in(page.body, "/keeping", token);
	page_free(&page);
	for (size_t i = 0; i < sizeof(cases) / sizeof(cases[0]); i++) {
		snprintf(more, sizeof(more), "-d token=%s %s", token, cases[i].fields);
		page = fetch(&pages, "chief", "/keeping", more);
		if (page.status != cases[i].status || !strstr(page.body, cases[i].words))
			fail_msg("%s: %d: %s", cases[i].fields, page.status, page.body);
		page_free(&page);
	}
}

/* Somebody may set holds, and yet not purge. */
static void test_purge_is_for_who_administers(void **state)
{
	struct page page = send_form(&pages, "worker", "/keeping",
				     "-d what=purge -d kind=views -d before=2020-01-01 -d sure=1");

	(void)state;
	assert_page(&page, 422, "may not do that");
	page_free(&page);
	page = send_form(&pages, "chief", "/keeping",
			 "-d what=purge -d kind=views -d before=2020-01-01 -d sure=1");
	assert_int_equal(page.status, 303);
	page_free(&page);
}

/* -- who may what ------------------------------------------------------------------------------ */

static void cookie_of(const char *jar, char line[120])
{
	char name[40], *text, *at;

	snprintf(name, sizeof(name), "jar-%s", jar);
	text = read_whole(pages.office.dir, name, 4096);
	at = strstr(text, "\tpostwalk\t");
	snprintf(line, 120, "Cookie: postwalk=%.64s\r\n", at ? at + 10 : "0");
	free(text);
}

/* A row a leaf and a role: what a look gives, and what a form without a token gives. */
static void test_roles(void **state)
{
	struct office at = pages.office;

	(void)state;
	at.port = pages.port;
	for (size_t r = 0; r < 4; r++) {
		char cookie[120], lines[300];

		cookie_of(people[r], cookie);
		snprintf(lines, sizeof(lines), "%sContent-Type: application/x-www-form-urlencoded\r\n",
			 cookie);
		for (size_t i = 0; i < pw_leaves_office_count; i++) {
			const struct pw_leaf *leaf = &pw_leaves_office[i];
			const bool open = leaf->see == PW_MAY_NOTHING;
			struct answer a = ask(&at, "HEAD", leaf->path, cookie, NULL, 0);

			if (r == 0 && !open)
				assert_int_equal(a.status, 303);
			else if (roles[r] < leaf->see)
				assert_int_equal(a.status, 403);
			else if (a.status != 200 && a.status != 400 && a.status != 404) /* it needs a key */
				fail_msg("%s for %s: %d", leaf->path, people[r], a.status);
			a = ask(&at, "POST", leaf->path, lines, "token=0", 7);
			assert_int_equal(a.status, leaf->post ? 403 : 405);
			if (leaf->post && roles[r] >= leaf->act)
				assert_has(a.body, "not from a page of yours");
			else if (leaf->post)
				assert_has(a.body, r == 0 ? "not signed in" : "may not do that");
		}
	}
}

/* -- programs ---------------------------------------------------------------------------------- */

static void make_token(const char *account, char token[65])
{
	char fields[200], *at;
	struct page page;

	snprintf(fields, sizeof(fields), "-d what=token -d account=%s -d words=report -d days=30", account);
	page = send_form(&pages, "chief", "/people", fields);
	assert_int_equal(page.status, 303);
	page_free(&page);
	page = fetch(&pages, "chief", "/people", "");
	at = strstr(page.body, "The token is ");
	if (!at || sscanf(at, "The token is %64[0-9a-f]", token) != 1)
		fail_msg("%s", page.body);
	page_free(&page);
	page = fetch(&pages, "chief", "/people", "");
	assert_has_not(page.body, token); /* it stands there once */
	page_free(&page);
}

static struct page fetch_by(const char *token, const char *path, const char *more)
{
	char with[300];

	snprintf(with, sizeof(with), "-H 'Authorization: Bearer %s' %s", token, more);
	return fetch(&pages, "program", path, with);
}

static void test_tokens(void **state)
{
	char token[65], fields[200], *sum, *at;
	struct page page;
	int status;

	(void)state;
	make_token("worker", token);
	page = fetch_by(token, "/trends?as=lines", "");
	assert_int_equal(page.status, 200);
	assert_has_not(page.head, "Set-Cookie");
	page_free(&page);
	page = fetch_by(token, "/keeping?as=csv", ""); /* of who may act: it may see and no more */
	assert_page(&page, 403, "may not");
	page_free(&page);
	page = fetch_by(token, "/keeping", "-d token=x");
	assert_page(&page, 403, "see and no more");
	page_free(&page);
	page = fetch_by("0000", "/trends?as=csv", "");
	assert_page(&page, 401, "not known");
	assert_has(page.head, "WWW-Authenticate: Bearer"); /* RFC 9110 11.6.1 */
	page_free(&page);
	/* What is kept of it is what sha256sum(1) makes of it. */
	sum = shell(&status, "printf %%s %s | sha256sum", token);
	page = fetch(&pages, "chief", "/people?as=csv&table=tokens", "");
	assert_has(page.body, "worker,report,");
	at = strstr(page.body, "\r\n");
	assert_non_null(at);
	assert_memory_equal(at + 2, sum, 12);
	page_free(&page);
	snprintf(fields, sizeof(fields), "-d what=end -d hash=%.64s", sum);
	free(sum);
	page = send_form(&pages, "chief", "/people", fields);
	assert_int_equal(page.status, 303);
	page_free(&page);
	page = fetch_by(token, "/trends?as=lines", "");
	assert_int_equal(page.status, 401);
	page_free(&page);
}

/* -- files and the shell ----------------------------------------------------------------------- */

static void assert_same(const char *path, const char *command)
{
	struct page page = fetch(&pages, "chief", path, "");
	char *said = office_do(&pages.office, command);

	if (page.status != 200)
		fail_msg("%s: %d", path, page.status);
	assert_string_equal(page.body, said);
	assert_has(page.head, "Content-Disposition: attachment; filename=\"postwalk-");
	page_free(&page);
	free(said);
}

static void test_files(void **state)
{
	int status;
	char *said;

	(void)state;
	assert_same("/people?as=csv", "audit people --csv --whole");
	assert_same("/people?as=lines", "audit people --jsonl --whole");
	assert_same("/keeping?as=csv&table=holds", "audit keeping --csv holds --whole");
	assert_same("/trends?as=lines", "audit trends --jsonl --whole");
	assert_same("/sweeps?as=csv", "audit sweeps --csv --whole");
	assert_same("/log?as=csv&to=2020-01-31", "audit log --to 2020-01-31 --csv --whole");
	said = shell(&status, "%s audit dance --office %s", office_program(), pages.office.dir);
	assert_int_equal(status, 2);
	assert_has(said, "expected a page, not \"dance\"");
	free(said);
	said = shell(&status, "%s audit log --dance 1 --office %s", office_program(), pages.office.dir);
	assert_int_equal(status, 2);
	assert_has(said, "its fields are: from to who did");
	free(said);
	said = shell(&status, "%s audit log --from x --office %s", office_program(), pages.office.dir);
	assert_int_equal(status, 2);
	assert_has(said, "audit log --from: Expected a day");
	free(said);
	said = shell(&status, "%s audit people --csv nothing --office %s", office_program(), pages.office.dir);
	assert_int_equal(status, 2);
	free(said);
	said = shell(&status, "%s audit people --csv --office %s", getenv("POSTWALK"), pages.office.dir);
	assert_int_equal(status, 0);
	assert_has(said, "chief,administer,own_password,");
	free(said);
}

static void test_log(void **state)
{
	char *log;
	struct page page = fetch(&pages, "viewer", "/sweeps?driver=D-77", "");

	(void)state;
	assert_int_equal(page.status, 200);
	page_free(&page);
	log = office_do(&pages.office, "audit log --jsonl --whole");
	assert_has(log, "driver D-77");
	assert_has(log, "\"who\":\"viewer\",\"did\":\"signed in\"");
	assert_has(log, "\"who\":\"shell\",\"did\":\"account chief: may administer; a first password was drawn\"");
	assert_has(log, "set hold 1: bus 14, 20251001 to 20251031: asked-for");
	free(log);
}

/* -- language, headers, limits ----------------------------------------------------------------- */

static void test_language(void **state)
{
	struct page page = fetch(&pages, "lang", "/sign-in", "-H 'Accept-Language: de, es-MX;q=0.8, en;q=0.5'");

	(void)state;
	assert_page(&page, 200, "<html lang=\"es\">");
	assert_has(page.head, "Content-Language: es\r\n");
	page_free(&page);
	page = fetch(&pages, "lang", "/sign-in?tongue=fr", "");
	assert_page(&page, 200, "<html lang=\"fr\">");
	page_free(&page);
	page = fetch(&pages, "lang", "/sign-in", "-H 'Accept-Language: es'"); /* chosen before */
	assert_page(&page, 200, "Ouvrir une session");
	page_free(&page);
	page = fetch(&pages, "lang", "/sign-in?tongue=tlh", "");
	assert_int_equal(page.status, 400);
	page_free(&page);
}

static void test_headers(void **state)
{
	static const char *const wanted[] = {
		"Content-Security-Policy: default-src 'none'; style-src 'self'; script-src 'self'; "
		"img-src 'self' data:; form-action 'self'; frame-ancestors 'none'; base-uri 'none'\r\n",
		"X-Content-Type-Options: nosniff\r\n", "Referrer-Policy: same-origin\r\n",
		"Cache-Control: no-store\r\n",
	};
	static const char *const paths[] = { "/sign-in", "/people", "/people?as=csv", "/nowhere" };

	(void)state;
	for (size_t i = 0; i < sizeof(paths) / sizeof(paths[0]); i++) {
		struct page page = fetch(&pages, "bare", paths[i], "");

		for (size_t w = 0; w < sizeof(wanted) / sizeof(wanted[0]); w++)
			assert_has(page.head, wanted[w]);
		assert_has_not(page.head, "Strict-Transport-Security");
		if (i == 0)
			assert_has(page.head, "; Path=/; HttpOnly; SameSite=Strict\r\n");
		page_free(&page);
	}
}

static void test_limits(void **state)
{
	static const struct { const char *path, *more; int status; } cases[] = {
		{ "/sign-in", "-H \"X-Long: $(printf 'x%.0s' $(seq 20000))\"", 431 },
		{ "/sign-in", "-d a=$(printf 'x%.0s' $(seq 70000))", 413 },
		{ "/sign-in", "-d x=1 -H 'Content-Type: text/plain'", 415 },
		{ "/sign-in", "-d x=1 -H 'Transfer-Encoding: chunked'", 411 },
		{ "/sign-in", "-X DELETE", 405 },
		{ "/log", "-d token=0", 405 },
		{ "/sign-in?surprise=1", "", 400 },
		{ "/nowhere", "", 404 },
		{ "/style.css", "", 200 },
		{ "/people?as=csv&table=nothing", "", 404 },
		{ "/people?as=dance", "", 400 },
	};
	struct office at = pages.office;
	struct answer a;

	(void)state;
	for (size_t i = 0; i < sizeof(cases) / sizeof(cases[0]); i++) {
		struct page page = fetch(&pages, "chief", cases[i].path, cases[i].more);

		if (page.status != cases[i].status)
			fail_msg("%s %.40s: %d", cases[i].path, cases[i].more, page.status);
		page_free(&page);
	}
	/* Refused by what its headers say: nothing of it is waited for. */
	at.port = pages.port;
	{
		int fd = office_connect(&at);
		static const char head[] = "POST /sign-in HTTP/1.1\r\nHost: x\r\nContent-Type: "
			"multipart/form-data; boundary=b\r\nContent-Length: 17000000\r\n\r\n";

		office_send(fd, head, strlen(head));
		office_receive(fd, &a, false);
		assert_int_equal(a.status, 413);
		close(fd);
	}
}

/* -- TLS --------------------------------------------------------------------------------------- */

static void test_tls(void **state)
{
	struct pages tls = { .port = 0 };
	char first[40], *text;
	struct page page;
	int status;

	(void)state;
	office_dir(&tls.office);
	text = shell(&status, "cd %s && openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -noenc "
		     "-keyout tls.key -out tls.crt -days 2 -subj /CN=office.example -addext "
		     "subjectAltName=IP:127.0.0.1", tls.office.dir);
	assert_int_equal(status, 0);
	free(text);
	office_write(&tls.office, "office.conf", "[office]\nlisten = 127.0.0.1:0\npages = 127.0.0.1:0\n"
		     "certificate = tls.crt\nprivate_key = tls.key\n");
	assert_true(office_start(&tls.office));
	pages_hear(&tls);
	draw_account(&tls, "chief", "administer", first);
	page = sign_in(&tls, "chief", "chief", first);
	assert_int_equal(page.status, 303);
	assert_has(page.head, "Set-Cookie: __Host-postwalk=");
	assert_has(page.head, "; HttpOnly; SameSite=Strict; Secure\r\n");
	assert_has(page.head, "Strict-Transport-Security: max-age=");
	page_free(&page);
	kill(tls.office.pid, SIGHUP); /* the listener is another, the session is the same */
	do {
		text = read_whole(tls.office.dir, "err", 8000);
		status = strstr(text, "the certificate is read anew") != NULL;
		free(text);
	} while (!status && poll(NULL, 0, 10) == 0);
	page = fetch(&tls, "chief", "/password", "");
	assert_page(&page, 200, "Choose one of your own");
	page_free(&page);
	office_end(&tls.office);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_first_password),
		cmocka_unit_test(test_then),
		cmocka_unit_test(test_forged_forms),
		cmocka_unit_test(test_wrong_fields),
		cmocka_unit_test(test_purge_is_for_who_administers),
		cmocka_unit_test(test_roles),
		cmocka_unit_test(test_session_ends),
		cmocka_unit_test(test_sign_out),
		cmocka_unit_test(test_tokens),
		cmocka_unit_test(test_files),
		cmocka_unit_test(test_log),
		cmocka_unit_test(test_language),
		cmocka_unit_test(test_headers),
		cmocka_unit_test(test_limits),
		cmocka_unit_test(test_wrong_tries),
		cmocka_unit_test(test_tls),
	};

	return cmocka_run_group_tests(tests, set_up, tear_down);
}
