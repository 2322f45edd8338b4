/* SPDX-License-Identifier: Apache-2.0 */
/* PINs and sessions over HTTP: the page forwards, the watch (here a test) decides. */
#include "page_forms.h"

#define OTHER "ffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff"

/* -- who is let in ------------------------------------------------------------------------------- */

static void a_pin_opens_a_session(void **state)
{
	struct world *w = *state;
	char cookie[256], token[PW_TOKEN_MAX];

	assert_int_equal(ask(w, "GET", "/pin?for=mechanic", MINE), 200);
	token_shown(w, token);
	assert_int_equal(post_as(w, "/pin", MINE FORM, token, "for=mechanic&pin=4%2B4=8%25!"), 303);
	header_is(w, "Location", "/mechanic");
	assert_non_null(header(w, "Set-Cookie", cookie, sizeof cookie));
	assert_int_equal(strncmp(cookie, "session=aaaa", 12), 0);
	assert_string_equal(cookie + 8 + 64, "; Path=/; HttpOnly; SameSite=Strict");
	assert_int_equal(w->act.kind, PW_A_OPEN);
	assert_int_equal(w->act.role, PW_MECHANIC);
	assert_string_equal(w->act.pin, "4+4=8%!");
	assert_int_equal(ask(w, "GET", "/mechanic", MINE), 200);
	assert_int_equal(w->touches, 1);
}

static void no_session_leads_to_the_pin(void **state)
{
	static const struct { const char *path, *on; } want[] = {
		{ "/mechanic", "/pin?for=mechanic" }, { "/installer", "/pin?for=installer" },
		{ "/installer/wiring", "/pin?for=installer" },
		{ "/installer/setup", "/pin?for=installer" },
		{ "/installer/capture.vcd", "/pin?for=installer" },
	};
	static const char *const none[] = { "", "Cookie: session=\r\n", "Cookie: session=1234\r\n",
					    "Cookie: session=zz" SESSION "\r\n" };
	struct world *w = *state;
	char link[64], value[128];

	for (size_t i = 0; i < sizeof want / sizeof want[0]; i++)
		for (size_t k = 0; k < sizeof none / sizeof none[0]; k++) {
			assert_int_equal(ask(w, "GET", want[i].path, none[k]), 403);
			says(w, pw_say_answer(PW_SESSION_NONE));
			snprintf(link, sizeof link, "href=\"%s\"", want[i].on);
			assert_non_null(strstr(body(w), link));
			header_is(w, "Content-Type", "text/html; charset=utf-8");
		}
	assert_int_equal(w->touches, 0); /* the watch is not even asked */
	w->no_session = true;            /* over: it is, and the browser forgets its cookie */
	assert_int_equal(ask(w, "GET", "/mechanic", MINE), 403);
	header_is(w, "Set-Cookie", "session=; Path=/; Max-Age=0; HttpOnly; SameSite=Strict");
	assert_int_equal(w->touches, 1);
	assert_int_equal(ask(w, "GET", "/mechanic", ""), 403);
	assert_null(header(w, "Set-Cookie", value, sizeof value));
}

static void a_session_is_of_one_role(void **state)
{
	struct world *w = *state;

	assert_int_equal(ask(w, "GET", "/installer", MINE), 403); /* a mechanic's */
	w->done.role = PW_INSTALLER;
	assert_int_equal(ask(w, "GET", "/installer", MINE), 200);
	assert_int_equal(ask(w, "GET", "/mechanic", MINE), 403);
	assert_non_null(strstr(body(w), "/pin?for=mechanic"));
}

static void the_capture_is_a_file(void **state)
{
	struct world *w = *state;

	w->done.role = PW_INSTALLER;
	assert_int_equal(ask(w, "GET", "/installer/capture.vcd", MINE), 200);
	header_is(w, "Content-Disposition", "attachment");
	header_is(w, "Content-Type", "text/plain; charset=utf-8");
	assert_int_equal(strncmp(body(w), "$date", 5), 0); /* IEEE 1364-2005 18.2.3.2 */
}

/* A form of a session that ended: nothing is done, though its token is good. */
static void an_old_session_does_nothing(void **state)
{
	struct world *w = *state;
	char token[PW_TOKEN_MAX];

	token_of(w, "/mechanic", token);
	w->no_session = true;
	assert_int_equal(post_as(w, "/mechanic", MINE FORM, token, "do=on"), 403);
	assert_non_null(strstr(body(w), "/pin?for=mechanic"));
	nothing_done(w);
	w->no_session = false; /* it was not used up */
	assert_int_equal(post_as(w, "/mechanic", MINE FORM, token, "do=on"), 303);
	assert_int_equal(w->act.kind, PW_A_SERVICE);
	assert_true(w->act.yes);
	assert_string_equal(w->act.session, SESSION);
}

static void leaving_forgets_the_session(void **state)
{
	struct world *w = *state;
	char token[PW_TOKEN_MAX];

	assert_int_equal(ask(w, "GET", "/leave", MINE), 200);
	token_shown(w, token);
	assert_int_equal(post_as(w, "/leave", MINE FORM, token, ""), 303);
	assert_int_equal(w->act.kind, PW_A_LEAVE);
	header_is(w, "Set-Cookie", "session=; Path=/; Max-Age=0; HttpOnly; SameSite=Strict");
	token_of(w, "/leave", token);
	w->done.answer = PW_SESSION_NONE; /* it had ended before */
	assert_int_equal(post_as(w, "/leave", MINE FORM, token, ""), 303);
	header_is(w, "Set-Cookie", "session=; Path=/; Max-Age=0; HttpOnly; SameSite=Strict");
}

/* -- what the watch answers ---------------------------------------------------------------------- */

/* RFC 9110 15.5.1, 15.5.4, 15.5.10, 15.6.4; RFC 6585 4: 429 with Retry-After in whole seconds. */
static void each_answer_has_its_status(void **state)
{
	static const struct { enum pw_answer answer; int64_t wait_ms; int status; const char *again; }
	want[] = {
		{ PW_PIN_IS_WRONG, 0, 403, NULL },  { PW_PIN_TOO_SOON, 4001, 429, "5" },
		{ PW_PIN_TOO_SOON, 900000, 429, "900" }, { PW_PIN_UNSET, 0, 403, NULL },
		{ PW_PIN_IN_HAND, 0, 429, "1" },    { PW_SESSION_TAKEN, 0, 409, NULL },
		{ PW_NOT_NOW, 0, 409, NULL },       { PW_NOT_SUCH, 0, 400, NULL },
		{ PW_NOT_DONE, 0, 503, NULL },
	};
	struct world *w = *state;
	char value[128];

	for (size_t i = 0; i < sizeof want / sizeof want[0]; i++) {
		w->done.answer = want[i].answer;
		w->done.wait_ms = want[i].wait_ms;
		assert_int_equal(post(w, "/pin", "for=mechanic&pin=93715204"), want[i].status);
		if (want[i].again)
			header_is(w, "Retry-After", want[i].again);
		else
			assert_null(header(w, "Retry-After", value, sizeof value));
		assert_null(header(w, "Set-Cookie", value, sizeof value));
		if (want[i].answer != PW_PIN_TOO_SOON) /* that one has the wait filled in */
			says(w, pw_say_answer(want[i].answer));
		assert_null(strstr(w->reply, "93715204")); /* what was typed is not shown again */
		header_is(w, "Content-Type", "text/html; charset=utf-8");
	}
	w->done.answer = PW_SESSION_NONE;
	assert_int_equal(post(w, "/found", "what=nothing"), 403);
}

/* In the reader's own language. */
static void refusals_are_in_words(void **state)
{
	struct world *w = *state;

	assert_int_equal(post_as(w, "/found", MINE FORM "Accept-Language: es\r\n", "x", ""), 403);
	header_is(w, "Content-Language", "es");
	assert_non_null(strstr(body(w), pw_word(PW_SPANISH, PW_W_E_FORGED)));
	assert_non_null(strstr(body(w), "<html lang=\"es\">"));
}

static void a_silent_watch_uses_up_no_token(void **state)
{
	struct world *w = *state;
	char token[PW_TOKEN_MAX];
	int64_t end = pw_boot_ms() + DEADLINE_MS;
	int status;

	token_of(w, "/found", token);
	w->dumb = true;
	do /* the page keeps a snapshot for a moment */
		status = ask(w, "GET", "/", "");
	while (status != 503 && pw_boot_ms() < end);
	assert_int_equal(post_as(w, "/found", MINE FORM, token, "what=nothing"), 503);
	says(w, PW_W_WATCH_SILENT);
	assert_int_equal(ask(w, "GET", "/found", MINE), 503);
	nothing_done(w);
	w->dumb = false;
	do
		status = ask(w, "GET", "/", "");
	while (status != 200 && pw_boot_ms() < end);
	assert_int_equal(post_as(w, "/found", MINE FORM, token, "what=nothing"), 303);
}

/* It answered the snapshot, and then not the act: nobody knows whether it was done, and that is said. */
static void an_act_without_an_answer(void **state)
{
	struct world *w = *state;
	char token[PW_TOKEN_MAX];

	token_of(w, "/found", token);
	w->deaf = true;
	assert_int_equal(post_as(w, "/found", MINE FORM, token, "what=nothing"), 503);
	says(w, PW_W_UNANSWERED);
}

/* -- load ---------------------------------------------------------------------------------------- */

/* Guessed sessions at full speed reach the watch fifty times a second at most. */
static void guesses_do_not_load_the_watch(void **state)
{
	struct world *w = *state;
	int64_t begin = pw_boot_ms();
	int refused = 0;

	w->no_session = true;
	for (int i = 0; i < 200; i++) {
		int status = ask(w, "GET", "/mechanic", "Cookie: session=" OTHER "\r\n");

		refused += status == 503;
		assert_true(status == 403 || status == 503);
	}
	if (refused)
		assert_true(w->touches < 200);
	assert_in_range(w->touches, 1, ((uint64_t)(pw_boot_ms() - begin) / 1000 + 1) * 50);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		IN_A_WORLD(a_pin_opens_a_session),
		IN_A_WORLD(no_session_leads_to_the_pin),
		IN_A_WORLD(a_session_is_of_one_role),
		IN_A_WORLD(the_capture_is_a_file),
		IN_A_WORLD(an_old_session_does_nothing),
		IN_A_WORLD(leaving_forgets_the_session),
		IN_A_WORLD(each_answer_has_its_status),
		IN_A_WORLD(refusals_are_in_words),
		IN_A_WORLD(a_silent_watch_uses_up_no_token),
		IN_A_WORLD(an_act_without_an_answer),
		IN_A_WORLD(guesses_do_not_load_the_watch),
	};

	return cmocka_run_group_tests_name("page: sessions", tests, NULL, NULL);
}
