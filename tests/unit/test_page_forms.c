/* SPDX-License-Identifier: Apache-2.0 */
/* Forms sent to a real page process, with a test as the watch: what is taken, and what is turned
 * away with a clear page and the right status (RFC 9110 15.5, 15.6), nothing changed. */
#include "page_forms.h"

#define ARTICLE "what=article&words=a+red+bag&who=d-7"

/* -- shown --------------------------------------------------------------------------------------- */

/* RFC 6265 4.1, 5.2: out of scripts' and other sites' reach, and gone with the browser. */
static void a_visitor_has_a_mark(void **state)
{
	struct world *w = *state;
	char cookie[256], token[PW_TOKEN_MAX], other[PW_TOKEN_MAX];

	assert_int_equal(ask(w, "GET", "/found?what=damage", ""), 200);
	assert_non_null(header(w, "Set-Cookie", cookie, sizeof cookie));
	assert_int_equal(strncmp(cookie, "visit=", 6), 0);
	assert_int_equal(strspn(cookie + 6, "0123456789abcdef"), 64);
	assert_string_equal(cookie + 70, "; Path=/; HttpOnly; SameSite=Strict");
	token_shown(w, token);
	header_is(w, "Cache-Control", "no-store");
	assert_int_equal(ask(w, "GET", "/found?what=damage", MINE), 200);
	assert_null(header(w, "Set-Cookie", cookie, sizeof cookie));
	token_shown(w, other);
	assert_string_not_equal(token, other);
	assert_int_equal(ask(w, "GET", "/found", "Cookie: visit=x\r\n"), 200);
	assert_non_null(header(w, "Set-Cookie", cookie, sizeof cookie)); /* not one of ours */
	assert_int_equal(ask(w, "HEAD", "/found", ""), 200);
	assert_string_equal(body(w), "");
	nothing_done(w);
}

/* RFC 9110 10.2.1, 15.5.6 */
static void allow_is_of_the_path(void **state)
{
	static const struct { const char *path, *allow; } want[] = {
		{ "/", "GET, HEAD" }, { "/status.json", "GET, HEAD" }, { "/lang", "GET, HEAD" },
		{ "/found", "GET, HEAD, POST" }, { "/pin", "GET, HEAD, POST" },
		{ "/installer/capture.vcd", "GET, HEAD" }, { "/mechanic", "GET, HEAD, POST" },
	};
	struct world *w = *state;

	for (size_t i = 0; i < sizeof want / sizeof want[0]; i++) {
		assert_int_equal(ask(w, "PUT", want[i].path, MINE), 405);
		header_is(w, "Allow", want[i].allow);
		header_is(w, "Connection", "close");
	}
	assert_int_equal(ask(w, "POST", "/installer/capture.vcd", MINE FORM), 405);
	assert_int_equal(ask(w, "HEA", "/found", ""), 501);
	assert_in_range(ask(w, "GET, HEAD", "/found", ""), 300, 499); /* RFC 9112 3: 400 or 301 */
}

/* -- taken --------------------------------------------------------------------------------------- */

/* RFC 9110 15.4.4: after a form comes a page that may be loaded again. */
static void a_form_is_taken_once(void **state)
{
	struct world *w = *state;
	char token[PW_TOKEN_MAX];

	token_of(w, "/found", token);
	assert_int_equal(post_as(w, "/found", MINE FORM, token, ARTICLE), 303);
	assert_non_null(strstr(w->reply, "\r\nLocation: /found?"));
	assert_int_equal(w->acts, 1);
	assert_int_equal(w->act.kind, PW_A_FOUND);
	assert_int_equal(w->act.what, PW_FOUND_ARTICLE);
	assert_string_equal(w->act.words, "a red bag");
	assert_string_equal(w->act.who, "d-7");
	assert_string_equal(w->act.session, SESSION);
	assert_int_equal(post_as(w, "/found", MINE FORM, token, ARTICLE), 409);
	says(w, PW_W_E_USED);
	assert_int_equal(w->acts, 1);
	assert_string_equal(w->told.words, "used");
}

/* The URL standard, 5.1: plus, percent, and what is no escape. */
static void values_are_decoded(void **state)
{
	static const struct { const char *sent, *words; } want[] = {
		{ "a+b%2Bc", "a b+c" }, { "%C3%A9t%c3%a9", "\xc3\xa9t\xc3\xa9" },
		{ "50%", "50%" }, { "%zz", "%zz" }, { "a%26b%3Dc", "a&b=c" }, { "a=b", "a=b" },
		{ "%3Cb%3E", "<b>" },
	};
	struct world *w = *state;
	char fields[128];

	for (size_t i = 0; i < sizeof want / sizeof want[0]; i++) {
		snprintf(fields, sizeof fields, "what=article&&words=%s&", want[i].sent);
		assert_int_equal(post(w, "/found", fields), 303);
		assert_string_equal(w->act.words, want[i].words);
	}
}

/* RFC 9112 7.1 */
static void a_form_may_come_in_chunks(void **state)
{
	struct world *w = *state;
	char token[PW_TOKEN_MAX], request[1024];

	token_of(w, "/found", token);
	snprintf(request, sizeof request,
		 "POST /found HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n" MINE FORM
		 "Transfer-Encoding: chunked\r\n\r\n6\r\ntoken=\r\n70\r\n%s\r\nD\r\n&what=nothing\r\n"
		 "0\r\n\r\n", token);
	assert_int_equal(ask_raw(w, request), 303);
	assert_int_equal(w->act.what, PW_FOUND_NOTHING);
}

/* -- turned away --------------------------------------------------------------------------------- */

static void a_foreign_page_cannot_send_it(void **state)
{
	struct world *w = *state;
	char here[64], one[128], two[256], token[PW_TOKEN_MAX], headers[512];
	const char *const foreign[] = {
		"Origin: null\r\n", "Origin: http://stranger.example\r\n",
		"Origin: http://127.0.0.1\r\n", "Origin:\r\n", one, two,
	};

	snprintf(here, sizeof here, "Origin: http://127.0.0.1:%u\r\n", w->port);
	snprintf(one, sizeof one, "Origin: https://127.0.0.1:%u\r\n", w->port);
	snprintf(two, sizeof two, "%s%s", here, here);
	token_of(w, "/found", token);
	for (size_t i = 0; i < sizeof foreign / sizeof foreign[0]; i++) {
		snprintf(headers, sizeof headers, MINE FORM "%s", foreign[i]);
		if (post_as(w, "/found", headers, token, ARTICLE) != 403)
			fail_msg("%s was taken", foreign[i]);
		says(w, PW_W_E_ORIGIN);
	}
	nothing_done(w);
	assert_string_equal(w->told.words, "origin");
	snprintf(headers, sizeof headers, MINE FORM "%s", here);
	assert_int_equal(post_as(w, "/found", headers, token, ARTICLE), 303); /* still unused */
}

static void a_foreign_host_cannot_take_it(void **state)
{
	struct world *w = *state;
	char token[PW_TOKEN_MAX], request[1024];

	token_of(w, "/found", token);
	snprintf(request, sizeof request,
		 "POST /found HTTP/1.1\r\nHost: stranger.example\r\nConnection: close\r\n" MINE FORM
		 "Content-Length: 132\r\n\r\ntoken=%s&what=nothing", token);
	assert_int_equal(ask_raw(w, request), 421);
	says(w, PW_W_FOREIGN_HOST);
	nothing_done(w);
	assert_string_equal(w->told.words, "host");
}

static void only_our_own_tokens_are_taken(void **state)
{
	static const char other[] =
		"Cookie: visit=ff112233445566778899aabbccddeeff00112233445566778899aabbccddeeff\r\n"
		FORM;
	struct world *w = *state;
	char token[PW_TOKEN_MAX], forged[PW_TOKEN_MAX];

	token_of(w, "/found", token);
	snprintf(forged, sizeof forged, "%s", token);
	forged[50] = forged[50] == '0' ? '1' : '0';
	assert_int_equal(post_as(w, "/found", MINE FORM, forged, ARTICLE), 403);
	says(w, PW_W_E_FORGED);
	assert_int_equal(post_as(w, "/found", MINE FORM, "", ARTICLE), 403);
	assert_int_equal(post_raw(w, "/found", MINE FORM, ARTICLE, strlen(ARTICLE)), 403);
	assert_int_equal(post_raw(w, "/found", MINE FORM, "", 0), 403);
	assert_int_equal(post_as(w, "/found", FORM, token, ARTICLE), 403);
	assert_int_equal(post_as(w, "/found", other, token, ARTICLE), 403);
	assert_int_equal(post_as(w, "/report", MINE FORM, token, "do=sign&who=d-7"), 403);
	nothing_done(w);
	assert_string_equal(w->told.words, "forged");
	assert_int_equal(post_as(w, "/found", MINE FORM, token, ARTICLE), 303);
}

/* Attacks at full speed reach the watch once a second. */
static void the_watch_is_told_now_and_then(void **state)
{
	struct world *w = *state;
	int64_t begin = pw_boot_ms();

	for (int i = 0; i < 100; i++)
		assert_int_equal(post_as(w, "/found", MINE FORM, "forged", ARTICLE), 403);
	assert_in_range(w->refused, 1, (uint64_t)(pw_boot_ms() - begin) / 1000 + 1);
	nothing_done(w);
}

/* RFC 9110 15.5.16 */
static void only_forms_are_taken(void **state)
{
	static const char *const type[] = {
		"", "Content-Type:\r\n", "Content-Type: text/plain\r\n",
		"Content-Type: application/json\r\n", "Content-Type: multipart/form-data; boundary=x\r\n",
		"Content-Type: application/x-www-form-urlencodedx\r\n",
	};
	static const char *const good[] = {
		FORM, "Content-Type: application/x-www-form-urlencoded; charset=UTF-8\r\n",
		"Content-Type: Application/X-WWW-Form-URLencoded;charset=utf-8\r\n",
	};
	struct world *w = *state;
	char headers[512], token[PW_TOKEN_MAX];

	for (size_t i = 0; i < sizeof type / sizeof type[0]; i++) {
		snprintf(headers, sizeof headers, MINE "%s", type[i]);
		assert_int_equal(post_as(w, "/found", headers, "x", ARTICLE), 415);
		says(w, PW_W_E_TYPE);
	}
	nothing_done(w);
	for (size_t i = 0; i < sizeof good / sizeof good[0]; i++) {
		token_of(w, "/found", token);
		snprintf(headers, sizeof headers, MINE "%s", good[i]);
		assert_int_equal(post_as(w, "/found", headers, token, ARTICLE), 303);
	}
}

/* RFC 9110 15.5.14: declared or not, a body is read up to its cap. */
static void long_bodies_are_refused(void **state)
{
	static const char chunked[] =
		"POST /found HTTP/1.1\r\nHost: localhost\r\n" MINE FORM
		"Transfer-Encoding: chunked\r\n\r\n";
	struct world *w = *state;
	static char text[PW_FORM_MAX + 2], request[80000];
	char token[PW_TOKEN_MAX];

	token_of(w, "/found", token);
	memset(text, '&', sizeof text);
	snprintf(text, 200, "token=%s&what=nothing", token);
	text[strlen(text)] = '&';
	assert_int_equal(post_raw(w, "/found", MINE FORM, text, PW_FORM_MAX + 1), 413);
	header_is(w, "Connection", "close");
	says(w, PW_W_E_LONG);
	nothing_done(w);
	assert_int_equal(post_raw(w, "/found", MINE FORM, text, PW_FORM_MAX), 303);
	int n = snprintf(request, sizeof request, "%s", chunked);

	for (int i = 0; i < 2; i++)
		n += snprintf(request + n, sizeof request - (size_t)n, "1000\r\n%4096s\r\n", "&");
	snprintf(request + n, sizeof request - (size_t)n, "0\r\n\r\n");
	w->acts = 0;
	assert_int_equal(ask_raw(w, request), 413);
	n = snprintf(request, sizeof request, "%s", chunked);
	for (int i = 0; i < 17; i++) /* it never ends: it is not read for ever */
		n += snprintf(request + n, sizeof request - (size_t)n, "1000\r\n%4096s\r\n", "&");
	assert_int_equal(ask_raw(w, request), 0);
	nothing_done(w);
}

/* No field that is not on the form, none twice, no text that is none (RFC 3629). */
static void strange_fields_are_refused(void **state)
{
	static const char *const bad[] = {
		ARTICLE "&wheel=1", ARTICLE "&what=child", "what=nothing&token=x",
		"what=nothing&words=%FF", "what=nothing&words=%C3", "what=nothing&words=%ED%A0%80",
		"what=nothing&words=a%00b", "what=nothing&wha%00t=1", "what=nothing&words=\xc0\xaf",
		"what=nothing&=x", "what=nothing&a-name-far-too-long-for-a-field=1",
		"a=1&b=1&c=1&d=1&e=1&f=1&g=1&h=1&i=1&j=1&k=1&l=1&what=nothing",
	};
	static char fields[2000];
	struct world *w = *state;

	for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
		if (post(w, "/found", bad[i]) != 400)
			fail_msg("%s was taken: %.40s", bad[i], w->reply);
		says(w, PW_W_E_FORM);
	}
	snprintf(fields, sizeof fields, "what=nothing&words=%0700d", 0);
	assert_int_equal(post(w, "/found", fields), 400);
	snprintf(fields, sizeof fields, "/found?what=%0700d", 0);
	assert_int_equal(ask(w, "GET", fields, MINE), 400);
	assert_int_equal(ask(w, "GET", "/found?what=%ff", MINE), 400);
	assert_int_equal(ask(w, "GET", "/found?what=child&what=child", MINE), 400);
	assert_int_equal(ask(w, "GET", "/found?what=child&unknown=1", MINE), 200);
	assert_int_equal(post_raw(w, "/found", MINE FORM, "what=nothing\0x", 14), 400);
	nothing_done(w);
}

/* What is wrong with a field is said on the form, with what was typed. */
static void a_bad_field_is_shown_again(void **state)
{
	static char fields[400];
	struct world *w = *state;
	char token[PW_TOKEN_MAX];

	snprintf(fields, sizeof fields, "what=damage&who=no+code&words=seat+%%22torn%%22");
	assert_int_equal(post(w, "/found", fields), 400);
	says(w, PW_W_E_CODE);
	assert_non_null(strstr(body(w), "seat &quot;torn&quot;"));
	nothing_done(w);
	token_shown(w, token); /* a new one: it can be put right and sent */
	assert_int_equal(post_as(w, "/found", MINE FORM, token, "what=damage&who=d-7"), 303);
	snprintf(fields, sizeof fields, "what=damage&words=%0200d", 0);
	assert_int_equal(post(w, "/found", fields), 400);
	says(w, PW_W_E_WORDS);
}

static void a_language_that_is_not_spoken(void **state)
{
	struct world *w = *state;
	char value[128];

	assert_int_equal(ask(w, "GET", "/lang?to=xx", ""), 400);
	assert_null(header(w, "Set-Cookie", value, sizeof value));
	says(w, PW_W_NO_SUCH_LANGUAGE);
}

/* A choice leads back to where it was made, and nowhere else. */
static void a_choice_leads_back(void **state)
{
	static const struct { const char *from, *to; } want[] = {
		{ "/found", "/found" }, { "/pin?for=mechanic", "/pin?for=mechanic" },
		{ "%2Fpin%3Ffor%3Dmechanic", "/pin?for=mechanic" }, { "/", "/" }, { "", "/" },
		{ "//stranger.example", "/" }, { "http://stranger.example/", "/" },
		{ "/nowhere", "/" }, { "/pin?for=a/b", "/" }, { "/pin?other=1", "/" },
		{ "/found%0d%0aX:1", "/" }, { "/pin?for=%0d%0aX:1", "/" }, { "/lang", "/" },
	};
	struct world *w = *state;
	char path[128];

	for (size_t i = 0; i < sizeof want / sizeof want[0]; i++) {
		snprintf(path, sizeof path, "/lang?to=fr&from=%s", want[i].from);
		int status = ask(w, "GET", path, "");

		if (strstr(want[i].from, "%0d")) { /* no text */
			assert_true(status == 303 || status == 400);
			assert_null(strstr(w->reply, "\r\nX:1"));
			continue;
		}
		assert_int_equal(status, 303);
		header_is(w, "Location", want[i].to);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		IN_A_WORLD(a_visitor_has_a_mark),
		IN_A_WORLD(allow_is_of_the_path),
		IN_A_WORLD(a_form_is_taken_once),
		IN_A_WORLD(values_are_decoded),
		IN_A_WORLD(a_form_may_come_in_chunks),
		IN_A_WORLD(a_foreign_page_cannot_send_it),
		IN_A_WORLD(a_foreign_host_cannot_take_it),
		IN_A_WORLD(only_our_own_tokens_are_taken),
		IN_A_WORLD(the_watch_is_told_now_and_then),
		IN_A_WORLD(only_forms_are_taken),
		IN_A_WORLD(long_bodies_are_refused),
		IN_A_WORLD(strange_fields_are_refused),
		IN_A_WORLD(a_bad_field_is_shown_again),
		IN_A_WORLD(a_language_that_is_not_spoken),
		IN_A_WORLD(a_choice_leads_back),
	};

	return cmocka_run_group_tests_name("page: forms", tests, NULL, NULL);
}
