/* SPDX-License-Identifier: Apache-2.0 */
/* What a client gets from a real page process (RFC 9110, RFC 9112), by raw sockets. */
#include "page_client.h"

#include <jansson.h>
#include <signal.h>

static void the_page_is_served(void **state)
{
	struct world *w = *state;

	assert_int_equal(ask(w, "GET", "/", ""), 200);
	header_is(w, "Content-Type", "text/html; charset=utf-8");
	header_is(w, "Cache-Control", "no-store");
	header_is(w, "X-Content-Type-Options", "nosniff");
	header_is(w, "Referrer-Policy", "same-origin");
	char policy[512];

	assert_non_null(header(w, "Content-Security-Policy", policy, sizeof policy));
	assert_non_null(strstr(policy, "default-src 'none'; style-src 'self'; script-src 'self'"));
	assert_non_null(strstr(policy, "form-action 'self'"));
	assert_non_null(strstr(body(w), "<h1>Walk to the rear now.</h1>"));
	assert_int_equal(ask(w, "GET", "/style.css", ""), 200);
	header_is(w, "Content-Type", "text/css; charset=utf-8");
	assert_string_equal(body(w), pw_web_style);
	assert_int_equal(ask(w, "GET", "/dark.css", ""), 200);
	header_is(w, "Content-Type", "text/css; charset=utf-8");
	assert_string_equal(body(w), pw_web_dark);
	assert_int_equal(ask(w, "GET", "/page.js", ""), 200);
	header_is(w, "Content-Type", "text/javascript; charset=utf-8");
	assert_string_equal(body(w), pw_web_script);
	assert_int_equal(ask(w, "GET", "/?a=1", ""), 200);
}

static void the_status_is_json(void **state)
{
	struct world *w = *state;

	assert_int_equal(ask(w, "GET", "/status.json", ""), 200);
	header_is(w, "Content-Type", "application/json; charset=utf-8");
	json_t *root = json_loads(body(w), JSON_REJECT_DUPLICATES, NULL);

	assert_non_null(root);
	assert_string_equal(json_string_value(json_object_get(root, "phase")), "owed");
	json_decref(root);
}

/* RFC 9110 9.3.2: the same headers, no content. */
static void head_has_no_body(void **state)
{
	static const char *const path[] = { "/", "/status.json", "/style.css", "/dark.css",
					    "/page.js" };
	struct world *w = *state;
	char length[32];

	for (size_t i = 0; i < sizeof path / sizeof path[0]; i++) {
		assert_int_equal(ask(w, "GET", path[i], ""), 200);
		snprintf(length, sizeof length, "%zu", strlen(body(w)));
		header_is(w, "Content-Length", length);
		assert_int_equal(ask(w, "HEAD", path[i], ""), 200);
		header_is(w, "Content-Length", length);
		assert_string_equal(body(w), "");
	}
}

/* RFC 9110 15.5.6: 405 names in Allow what is allowed; 15.6.2: 501 for what nobody here knows; 9.1:
 * methods are case-sensitive. */
static void only_reading_is_allowed(void **state)
{
	static const struct { const char *name; int status; } method[] = {
		{ "POST", 405 }, { "PUT", 405 }, { "DELETE", 405 }, { "PATCH", 405 },
		{ "OPTIONS", 405 }, { "TRACE", 405 }, { "BREW", 501 }, { "get", 501 },
	};
	struct world *w = *state;

	for (size_t i = 0; i < sizeof method / sizeof method[0]; i++) {
		assert_int_equal(ask(w, method[i].name, "/", ""), method[i].status);
		header_is(w, "Allow", "GET, HEAD");
		assert_non_null(strstr(body(w), "This page is only read"));
	}
}

static void other_paths_are_not_there(void **state)
{
	static const char *const path[] = { "/x", "/status", "/status.json/", "//", "/../etc",
					    "/%2e%2e/", "/style.css%00",
					    "https://127.0.0.1/", "http://127.0.0.1/x" };
	struct world *w = *state;

	for (size_t i = 0; i < sizeof path / sizeof path[0]; i++) {
		int status = ask(w, "GET", path[i], "");

		if (status != 404 && status != 400)
			fail_msg("%s gave %d", path[i], status);
	}
}

/* A name of a stranger that leads here: RFC 9110 15.5.20, 7.4. */
static void foreign_hosts_are_turned_away(void **state)
{
	static const struct { const char *host; int status; } want[] = {
		{ "Host: stranger.example\r\n", 421 },
		{ "Host: 127.0.0.1.stranger.example\r\n", 421 },
		{ "Host: 192.0.2.1\r\n", 421 },
		{ "Host: localhost\r\n", 200 },
		{ "Host: LocalHost:8787\r\n", 200 },
		{ "Host: 127.0.0.1\r\n", 200 },
		{ "Host: [::1]:8787\r\n", 200 },
		{ "Host:\r\n", 421 },
		{ "", 400 },
		{ "Host: localhost\r\nHost: localhost\r\n", 400 },
		{ "Host: localhost\r\nHost: stranger.example\r\n", 400 },
	};
	struct world *w = *state;
	char request[512];

	for (size_t i = 0; i < sizeof want / sizeof want[0]; i++) {
		snprintf(request, sizeof request,
			 "GET / HTTP/1.1\r\nConnection: close\r\n%s\r\n", want[i].host);
		int status = ask_raw(w, request);

		if (status != want[i].status)
			fail_msg("\"%s\" gave %d", want[i].host, status);
	}
}

static void hosts_by_their_address(void **state)
{
	struct sockaddr_in v4 = client_address(1);
	struct sockaddr_in6 v6 = { .sin6_family = AF_INET6 };

	(void)state;
	inet_pton(AF_INET, "192.0.2.7", &v4.sin_addr);
	inet_pton(AF_INET6, "2001:db8::7", &v6.sin6_addr);
	static const struct { const char *host; bool v4, v6; } want[] = {
		{ "192.0.2.7", true, false },   { "192.0.2.7:8787", true, false },
		{ "192.0.2.8", false, false },  { "[2001:db8::7]", false, true },
		{ "[2001:0db8::0007]:80", false, true }, { "2001:db8::7", false, false },
		{ "127.9.9.9", true, true },    { "[::1]", true, true },
		{ "[::1", false, false },       { "[127.0.0.1]", false, false },
		{ "localhost:", true, true },   { "localhost:8x", false, false },
		{ "localhost.example", false, false }, { "local\"host", false, false },
		{ "[::1]x", false, false },     { "", false, false }, { ":80", false, false },
	};

	for (size_t i = 0; i < sizeof want / sizeof want[0]; i++)
		if (pw_host_allowed(want[i].host, (struct sockaddr *)&v4) != want[i].v4 ||
		    pw_host_allowed(want[i].host, (struct sockaddr *)&v6) != want[i].v6)
			fail_msg("\"%s\" is judged wrongly", want[i].host);
}

/* RFC 9110 13.1.2, 15.4.5. */
static void nothing_new_is_304(void **state)
{
	struct world *w = *state;
	char tag[64], more[128];

	assert_int_equal(ask(w, "GET", "/status.json", ""), 200);
	assert_non_null(header(w, "ETag", tag, sizeof tag));
	w->snapshot.now_ms += 300; /* time passes, and nothing else */
	w->snapshot.wall_ms += 300;
	for (unsigned i = 0; i < PW_LINES; i++)
		if (w->snapshot.line[i].age_ms >= 0)
			w->snapshot.line[i].age_ms += 300;
	snprintf(more, sizeof more, "If-None-Match: \"other\", %s\r\n", tag);
	assert_int_equal(ask(w, "GET", "/status.json", more), 304);
	header_is(w, "ETag", tag);
	assert_string_equal(body(w), "");
	w->snapshot.levels |= 1U << PW_SERVICE_DOOR;
	int64_t end = pw_boot_ms() + DEADLINE_MS;
	int status;

	do /* the page keeps a snapshot for a moment */
		status = ask(w, "GET", "/status.json", more);
	while (status == 304 && pw_boot_ms() < end);
	assert_int_equal(status, 200);
	assert_non_null(strstr(body(w), "\"word\":\"open\""));
	assert_int_equal(ask(w, "GET", "/", more), 200);
}

/* RFC 6585 5, RFC 9110 15.5.15. */
static void long_requests_are_refused(void **state)
{
	enum { LONG = 20000 };
	struct world *w = *state;
	static char request[LONG + 200];

	int n = snprintf(request, sizeof request, "GET / HTTP/1.1\r\nHost: localhost\r\nX: ");

	memset(request + n, 'x', LONG);
	snprintf(request + n + LONG, sizeof request - (size_t)n - LONG, "\r\n\r\n");
	assert_int_equal(ask_raw(w, request), 431);
	n = snprintf(request, sizeof request, "GET /");
	memset(request + n, 'x', LONG);
	snprintf(request + n + LONG, sizeof request - (size_t)n - LONG,
		 " HTTP/1.1\r\nHost: localhost\r\n\r\n");
	assert_int_equal(ask_raw(w, request), 414);
}

/* RFC 9112 6.1, 6.3: what could be read as two requests is not read at all. */
static void bodies_are_refused(void **state)
{
	struct world *w = *state;

	assert_int_equal(ask(w, "GET", "/", "Content-Length: 5\r\n"), 400);
	assert_int_equal(ask(w, "GET", "/", "Content-Length: 0\r\n"), 200);
	assert_int_equal(ask(w, "GET", "/", "Transfer-Encoding: chunked\r\n"), 400);
	assert_int_equal(ask(w, "GET", "/",
			     "Transfer-Encoding: chunked\r\nContent-Length: 5\r\n"), 400);
	assert_int_equal(ask(w, "POST", "/", "Content-Length: 1073741824\r\n"), 405);
	assert_int_equal(ask(w, "GET", "/", "Content-Length: 99999999999999999999\r\n") / 100, 4);
}

static void noise_is_no_request(void **state)
{
	static const char *const noise[] = { "\r\n\r\n\r\nX\r\n\r\n", "GET /\r\n\r\n",
					     "GET / HTTP/9.9\r\nHost: localhost\r\n\r\n",
					     "\x16\x03\x01\x02 \x01\r\n\r\n\r\n" };
	struct world *w = *state;

	for (size_t i = 0; i < sizeof noise / sizeof noise[0]; i++) {
		int status = ask_raw(w, noise[i]);

		if (status != 0 && status / 100 == 2)
			fail_msg("noise %zu gave %d", i, status);
	}
	assert_int_equal(ask(w, "GET", "/", ""), 200);
}

static void a_connection_serves_more_than_once(void **state)
{
	struct world *w = *state;
	int fd = client_open(w->port);

	client_send(fd, "GET / HTTP/1.1\r\nHost: localhost\r\n\r\n"
			"GET / HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n");
	client_read(w, fd);
	close(fd);
	const char *second = strstr(w->reply + 1, "HTTP/1.1 200");

	assert_non_null(second);
}

static void a_slow_client_holds_nobody_up(void **state)
{
	struct world *w = *state;
	int slow[4];

	for (int i = 0; i < 4; i++) {
		slow[i] = client_open(w->port);
		client_send(slow[i], "GET / HTTP/1.1\r\nHost: loc");
	}
	for (int i = 0; i < 20; i++)
		assert_int_equal(ask(w, "GET", "/status.json", ""), 200);
	for (int i = 0; i < 4; i++) {
		client_send(slow[i], "alhost\r\nConnection: close\r\n\r\n");
		client_read(w, slow[i]);
		assert_int_equal(strncmp(w->reply, "HTTP/1.1 200", 12), 0);
		close(slow[i]);
	}
}

/* Eight connections an address: the ninth is ended, not kept. */
static void one_address_cannot_take_all(void **state)
{
	struct world *w = *state;
	int held[PW_CONNECTIONS_AN_ADDRESS];

	for (int i = 0; i < PW_CONNECTIONS_AN_ADDRESS; i++) {
		held[i] = client_open(w->port);
		client_send(held[i], "GET /status.json HTTP/1.1\r\nHost: localhost\r\n\r\n");
		wait_for(w, held[i]);
	}
	int ninth = client_open(w->port);

	wait_for(w, ninth);
	assert_true(recv(ninth, w->reply, 1, 0) <= 0);
	close(ninth);
	for (int i = 0; i < PW_CONNECTIONS_AN_ADDRESS; i++)
		close(held[i]);
	int64_t end = pw_boot_ms() + DEADLINE_MS;

	while (ask(w, "GET", "/", "") != 200)
		assert_true(pw_boot_ms() < end);
}

/* One of another address of this machine's own. */
static int open_from(struct world *w, uint32_t host)
{
	struct sockaddr_in from = { .sin_family = AF_INET, .sin_addr.s_addr = htonl(host) };
	struct sockaddr_in to = client_address(w->port);
	int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);

	assert_int_equal(bind(fd, (struct sockaddr *)&from, sizeof from), 0);
	assert_int_equal(connect(fd, (struct sockaddr *)&to, sizeof to), 0);
	return fd;
}

/* Every place taken, and all of them given up at once, while one more waits: it is served. */
static void a_full_house_empties(void **state)
{
	const struct linger reset = { .l_onoff = 1 };
	struct world *w = *state;
	int held[PW_CONNECTIONS_MAX], next;

	for (int i = 0; i < PW_CONNECTIONS_MAX; i++) {
		held[i] = open_from(w, INADDR_LOOPBACK + 1 + (uint32_t)i);
		setsockopt(held[i], SOL_SOCKET, SO_LINGER, &reset, sizeof reset);
		client_send(held[i], "GET /style.css HTTP/1.1\r\nHost: localhost\r\n\r\n");
		wait_for(w, held[i]);
	}
	next = client_open(w->port);
	client_send(next, "GET / HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n");
	kill(pw_page_pid(w->page), SIGSTOP);
	for (int i = 0; i < PW_CONNECTIONS_MAX; i++)
		close(held[i]);
	kill(pw_page_pid(w->page), SIGCONT);
	client_read(w, next);
	close(next);
	assert_int_equal(strncmp(w->reply, "HTTP/1.1 200", 12), 0);
}

static void load_does_not_reach_the_watch(void **state)
{
	struct world *w = *state;
	int64_t begin = pw_boot_ms();
	unsigned before = w->asked;

	for (int i = 0; i < 300; i++)
		assert_int_equal(ask(w, "GET", i & 1 ? "/" : "/status.json", ""), 200);
	assert_in_range(w->asked - before, 0, (uint64_t)(pw_boot_ms() - begin) / 100 + 1);
}

static void a_silent_watch_is_told(void **state)
{
	struct world *w = *state;

	w->dumb = true;
	assert_int_equal(ask(w, "GET", "/", ""), 503);
	header_is(w, "Cache-Control", "no-store");
	assert_non_null(strstr(body(w), "<h1>The watch does not answer.</h1>"));
	assert_non_null(strstr(body(w), "call the shop"));
	assert_int_equal(ask(w, "GET", "/status.json", ""), 503);
	json_t *root = json_loads(body(w), JSON_REJECT_DUPLICATES, NULL);

	assert_string_equal(json_string_value(json_object_get(root, "error")),
			    "the watch does not answer");
	json_decref(root);
	assert_int_equal(ask(w, "GET", "/style.css", ""), 200);
	assert_null(pw_page_fault(w->page));
}

static void a_snapshot_of_another_version_is_no_answer(void **state)
{
	struct world *w = *state;

	w->snapshot.version++;
	assert_int_equal(ask(w, "GET", "/", ""), 503);
	w->snapshot.version--;
	int64_t end = pw_boot_ms() + DEADLINE_MS;

	while (ask(w, "GET", "/", "") != 200) /* it rests, then asks again */
		assert_true(pw_boot_ms() < end);
}

/* RFC 9110 12.5.4, RFC 6265 5.4: the cookie, else the browser's wish, else English. */
static void the_page_speaks_as_it_is_asked_to(void **state)
{
	static const struct { const char *headers, *language, *h1; } want[] = {
		{ "", "en", "Walk to the rear now." },
		{ "Accept-Language: fr-CA, en;q=0.5\r\n", "fr", "Allez au fond maintenant." },
		{ "Accept-Language: de\r\nAccept-Language: es\r\n", "es", "Camine al fondo ahora." },
		{ "Cookie: lang=es\r\nAccept-Language: fr\r\n", "es", "Camine al fondo ahora." },
		{ "Cookie: a=b; lang=fr; theme=dark\r\n", "fr", "Allez au fond maintenant." },
		{ "Cookie: lang=tlh\r\nAccept-Language: fr\r\n", "fr",
		  "Allez au fond maintenant." },
		{ "Cookie: lang=\r\n", "en", "Walk to the rear now." },
		{ "Cookie: lang=es<script>\r\n", "en", "Walk to the rear now." },
	};
	struct world *w = *state;

	for (size_t i = 0; i < sizeof want / sizeof want[0]; i++) {
		char html[64], h1[128];

		assert_int_equal(ask(w, "GET", "/", want[i].headers), 200);
		header_is(w, "Content-Language", want[i].language);
		header_is(w, "Vary", "Cookie, Accept-Language");
		snprintf(html, sizeof html, "<html lang=\"%s\">", want[i].language);
		snprintf(h1, sizeof h1, "<h1>%s</h1>", want[i].h1);
		if (!strstr(body(w), html) || !strstr(body(w), h1))
			fail_msg("%s not answered in %s", want[i].headers, want[i].language);
	}
	assert_int_equal(ask(w, "GET", "/nowhere", "Cookie: lang=fr\r\n"), 404);
	assert_non_null(strstr(body(w), pw_word(PW_FRENCH, PW_W_NO_SUCH_PAGE)));
}

/* RFC 9110 15.4.4; RFC 6265 4.1. */
static void a_choice_is_kept_in_a_cookie(void **state)
{
	static const struct { const char *path, *cookie; } good[] = {
		{ "/lang?to=en", "lang=en" }, { "/lang?to=es", "lang=es" },
		{ "/lang?to=fr", "lang=fr" }, { "/theme?to=dark", "theme=dark" },
		{ "/theme?to=light", "theme=light" }, { "/theme?to=auto", "theme=auto" },
	};
	static const struct { const char *path; enum pw_word word; } bad[] = {
		{ "/lang", PW_W_NO_SUCH_LANGUAGE }, { "/lang?to=", PW_W_NO_SUCH_LANGUAGE },
		{ "/lang?to=tlh", PW_W_NO_SUCH_LANGUAGE }, { "/lang?to", PW_W_NO_SUCH_LANGUAGE },
		{ "/lang?to=dark", PW_W_NO_SUCH_LANGUAGE },
		{ "/lang?to=es%0d%0aX:1", PW_W_NO_SUCH_LANGUAGE },
		{ "/theme?to=es", PW_W_NO_SUCH_THEME }, { "/theme", PW_W_NO_SUCH_THEME },
	};
	struct world *w = *state;
	char value[128], want[128];

	for (size_t i = 0; i < sizeof good / sizeof good[0]; i++) {
		assert_int_equal(ask(w, "GET", good[i].path, ""), 303);
		header_is(w, "Location", "/");
		snprintf(want, sizeof want,
			 "%s; Path=/; Max-Age=31536000; SameSite=Strict; HttpOnly", good[i].cookie);
		header_is(w, "Set-Cookie", want);
		assert_string_equal(body(w), "");
	}
	for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
		if (ask(w, "GET", bad[i].path, "") != 400)
			fail_msg("%s was not refused", bad[i].path);
		assert_null(header(w, "Set-Cookie", value, sizeof value));
		assert_non_null(strstr(body(w), pw_word(PW_ENGLISH, bad[i].word)));
	}
	assert_int_equal(ask(w, "POST", "/lang?to=es", ""), 405);
	assert_null(header(w, "Set-Cookie", value, sizeof value));
}

static void colours_are_as_chosen(void **state)
{
	struct world *w = *state;

	ask(w, "GET", "/", "");
	assert_non_null(strstr(body(w), "href=\"/dark.css\" media=\"screen and (prefers-"));
	ask(w, "GET", "/", "Cookie: theme=dark\r\n");
	assert_non_null(strstr(body(w), "href=\"/dark.css\" media=\"screen\""));
	ask(w, "GET", "/", "Cookie: theme=light\r\n");
	assert_null(strstr(body(w), "dark.css"));
}

/* WCAG 2.2, 2.2.1 and 2.2.2: a page that moves by itself can be held. */
static void a_page_can_be_held(void **state)
{
	struct world *w = *state;

	ask(w, "GET", "/", "");
	assert_non_null(strstr(body(w), "<noscript><meta http-equiv=\"refresh\""));
	assert_non_null(strstr(body(w), "class=\"stale\""));
	ask(w, "GET", "/?hold=1", "");
	assert_null(strstr(body(w), "http-equiv"));
	assert_null(strstr(body(w), "page.js"));
	assert_null(strstr(body(w), "class=\"stale\""));
	assert_non_null(strstr(body(w), "does not follow the watch"));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		IN_A_WORLD(the_page_is_served),
		IN_A_WORLD(the_status_is_json),
		IN_A_WORLD(head_has_no_body),
		IN_A_WORLD(only_reading_is_allowed),
		IN_A_WORLD(other_paths_are_not_there),
		IN_A_WORLD(foreign_hosts_are_turned_away),
		cmocka_unit_test(hosts_by_their_address),
		IN_A_WORLD(nothing_new_is_304),
		IN_A_WORLD(long_requests_are_refused),
		IN_A_WORLD(bodies_are_refused),
		IN_A_WORLD(noise_is_no_request),
		IN_A_WORLD(a_connection_serves_more_than_once),
		IN_A_WORLD(a_slow_client_holds_nobody_up),
		IN_A_WORLD(one_address_cannot_take_all),
		IN_A_WORLD(a_full_house_empties),
		IN_A_WORLD(load_does_not_reach_the_watch),
		IN_A_WORLD(a_silent_watch_is_told),
		IN_A_WORLD(the_page_speaks_as_it_is_asked_to),
		IN_A_WORLD(a_choice_is_kept_in_a_cookie),
		IN_A_WORLD(colours_are_as_chosen),
		IN_A_WORLD(a_page_can_be_held),
		IN_A_WORLD(a_snapshot_of_another_version_is_no_answer),
	};

	return cmocka_run_group_tests_name("page: HTTP", tests, NULL, NULL);
}
