/* SPDX-License-Identifier: Apache-2.0 */
#include <inttypes.h>
#include <sodium.h>
#include <stdio.h>
#include <string.h>

#include "http_internal.h"

#define TELL_AGAIN_MS 1000
#define ACTS_A_SECOND 50 /* that all readers together may ask of the watch */

/* -- who looks --------------------------------------------------------------------------------- */

/* A cookie of 256 bits as hex digits, or "". */
static const char *cookie(struct MHD_Connection *c, const char *name)
{
	const char *value = MHD_lookup_connection_value(c, MHD_COOKIE_KIND, name);

	return value && strlen(value) == PW_VISIT_MAX - 1 &&
		       strspn(value, "0123456789abcdef") == PW_VISIT_MAX - 1 ? value : "";
}

const struct pw_leaf *pw_leaf_find(const char *path)
{
	for (size_t i = 0; i < pw_leaf_count; i++)
		if (!strcmp(path, pw_leaves[i].path))
			return &pw_leaves[i];
	return NULL;
}

static enum MHD_Result note_argument(void *cls, enum MHD_ValueKind kind, const char *key,
				     const char *value)
{
	struct pw_form *f = cls;
	char name[sizeof f->field[0].name * 3], text[PW_VALUE_MAX * 3];

	(void)kind;
	if (strlen(key) >= sizeof name || (value && strlen(value) >= sizeof text)) {
		f->spoiled = true;
		return MHD_NO;
	}
	strcpy(name, key);
	strcpy(text, value ? value : "");
	pw_form_add(f, name, text);
	return MHD_YES;
}

void pw_query(struct MHD_Connection *c, struct pw_form *f)
{
	MHD_get_connection_values(c, MHD_GET_ARGUMENT_KIND, note_argument, f);
}

/* -- the watch is asked ------------------------------------------------------------------------ */

/* NULL when too many ask, or the watch does not answer. */
static const struct pw_done_act *ask_act(struct pw_http *h, const struct pw_act *act)
{
	int64_t now = pw_boot_ms();

	if (now - h->acts_ms >= 1000) {
		h->acts_ms = now;
		h->acts = 0;
	}
	return ++h->acts > ACTS_A_SECOND ? NULL : pw_ask_act(h->ask, act);
}

void pw_tell_refused(struct pw_http *h, const char *why)
{
	int64_t now = pw_boot_ms();
	struct pw_act act;

	if (now - h->told_ms < TELL_AGAIN_MS)
		return;
	h->told_ms = now;
	memset(&act, 0, sizeof act);
	act.kind = PW_A_REFUSED;
	snprintf(act.words, sizeof act.words, "%s", why);
	pw_ask_tell(h->ask, &act);
}

/* A way to the PIN that a leaf needs. */
static const char *way_to_pin(enum pw_role role)
{
	switch (role) {
	case PW_INSTALLER: return "/pin?for=installer";
	case PW_MECHANIC: return "/pin?for=mechanic";
	default: return "/";
	}
}

/* done: what the watch says of the reader's session, NULL when it was not asked. One of the other role
 * is a session still: its cookie stays. */
static enum MHD_Result no_session(struct pw_http *h, struct MHD_Connection *c, enum pw_role role,
				  const struct pw_done_act *done)
{
	const struct refusal why = {
		.status = MHD_HTTP_FORBIDDEN, .why = pw_say_answer(PW_SESSION_NONE), .whole = true,
		.on = way_to_pin(role),
		.over = cookie(c, "session")[0] != '\0' && done && done->role <= PW_NOBODY,
	};

	return pw_refuse(h, c, &why);
}

/* A session of the leaf's role, looked at by the watch, and the wires where they are wanted. False
 * when it was refused, with *sent. */
static bool let_in(struct pw_http *h, struct MHD_Connection *c, const struct pw_leaf *leaf,
		   struct pw_visit *v, enum MHD_Result *sent)
{
	static const struct refusal too_much = {
		.status = MHD_HTTP_SERVICE_UNAVAILABLE, .why = PW_W_TOO_MUCH, .wait_ms = 1000,
		.whole = true,
	};
	const char *session = cookie(c, "session");
	const struct pw_done_act *done;
	struct pw_act act;

	v->role = PW_NOBODY;
	if (leaf->role <= PW_NOBODY)
		return true;
	memset(&act, 0, sizeof act);
	act.kind = PW_A_TOUCH;
	act.yes = !MHD_lookup_connection_value(c, MHD_HEADER_KIND, PW_FOLLOWS);
	snprintf(act.session, sizeof act.session, "%s", session);
	done = session[0] ? ask_act(h, &act) : NULL;
	if (session[0] && !done) {
		*sent = pw_refuse(h, c, &too_much);
		return false;
	}
	if (!done || done->answer != PW_DONE_SO || done->role != leaf->role) {
		*sent = no_session(h, c, leaf->role, done);
		return false;
	}
	v->role = done->role;
	v->session_left_ms = done->wait_ms;
	if (!leaf->wires || (v->wires = pw_ask_wires(h->ask, session, &done)))
		return true;
	*sent = done ? no_session(h, c, leaf->role, done) : pw_give_silent(h, c);
	return false;
}

/* -- shown ------------------------------------------------------------------------------------- */

/* The visitor's mark, and the cookie that sets it where there was none. */
static void visit_of(struct MHD_Connection *c, char visit[PW_VISIT_MAX], struct MHD_Response *r)
{
	char header[160];

	snprintf(header, sizeof header, "visit=%s; Path=/; HttpOnly; SameSite=Strict", visit);
	if (r && !cookie(c, "visit")[0])
		MHD_add_response_header(r, "Set-Cookie", header);
}

static void visit_name(struct MHD_Connection *c, char visit[PW_VISIT_MAX])
{
	unsigned char random[(PW_VISIT_MAX - 1) / 2];

	snprintf(visit, PW_VISIT_MAX, "%s", cookie(c, "visit"));
	if (visit[0])
		return;
	randombytes_buf(random, sizeof random);
	sodium_bin2hex(visit, PW_VISIT_MAX, random, sizeof random);
}

static enum MHD_Result draw(struct pw_http *h, struct MHD_Connection *c,
			    const struct pw_leaf *leaf, struct pw_visit *v, unsigned status)
{
	static const struct refusal void_page = { .status = MHD_HTTP_INTERNAL_SERVER_ERROR,
						  .why = PW_W_TOO_LONG, .whole = true };
	char visit[PW_VISIT_MAX], token[PW_TOKEN_MAX], seconds[24];

	visit_name(c, visit);
	pw_token_new(&h->tokens, visit, leaf->path, pw_boot_ms(), token);
	v->token = token;
	int len = leaf->put ? leaf->put(v, h->buf, sizeof h->buf)
			    : pw_html_leaf(leaf, v, h->buf, sizeof h->buf);

	if (len < 0)
		return pw_refuse(h, c, &void_page);
	struct MHD_Response *r = pw_response(h->buf, (size_t)len,
					     leaf->put ? leaf->type : "text/html; charset=utf-8");

	visit_of(c, visit, r);
	if (r)
		pw_add_language(r, v->choice);
	if (r && leaf->put)
		MHD_add_response_header(r, "Content-Disposition", "attachment");
	snprintf(seconds, sizeof seconds, "%" PRId64, (v->wait_ms + 999) / 1000);
	if (r && v->wait_ms > 0)
		MHD_add_response_header(r, "Retry-After", seconds);
	return pw_send(c, status, r);
}

static enum MHD_Result show(struct pw_http *h, struct MHD_Connection *c,
			    const struct request *r, struct pw_visit *v, unsigned status)
{
	const struct pw_choice choice = pw_choice_of(c);
	enum MHD_Result sent;

	v->choice = &choice;
	v->query = &r->sent->query;
	v->s = pw_ask(h->ask);
	if (!v->s)
		return pw_give_silent(h, c);
	if (!let_in(h, c, r->leaf, v, &sent))
		return sent;
	return draw(h, c, r->leaf, v, status);
}

enum MHD_Result pw_leaf_shown(struct pw_http *h, struct MHD_Connection *c, struct request *r)
{
	const struct refusal bad = { .status = MHD_HTTP_BAD_REQUEST, .why = PW_W_E_FORM,
				     .on = r->leaf->path, .whole = true };
	struct pw_visit v = { .wait_ms = 0 };

	return r->sent->query.spoiled ? pw_refuse(h, c, &bad) : show(h, c, r, &v, MHD_HTTP_OK);
}

/* The same page once more, with what was sent, and why it was turned down. */
static enum MHD_Result show_again(struct pw_http *h, struct MHD_Connection *c,
				  const struct request *r, enum pw_word why, int64_t wait_ms,
				  unsigned status)
{
	struct pw_visit v = { .sent = &r->sent->form, .refusal = why, .wait_ms = wait_ms };

	return show(h, c, r, &v, status);
}

/* -- sent -------------------------------------------------------------------------------------- */

/* Whether the form is ours and new. False when it was refused, with *sent. */
static bool token_taken(struct pw_http *h, struct MHD_Connection *c, struct request *r,
			enum MHD_Result *sent)
{
	struct refusal why = { .status = MHD_HTTP_FORBIDDEN, .on = r->leaf->path, .whole = true };

	if (!r->leaf->template)
		why.on = "/";
	switch (pw_token_take(&h->tokens, cookie(c, "visit"), r->leaf->path,
			      pw_form_value(&r->sent->form, "token"), pw_boot_ms())) {
	case PW_TOKEN_GOOD:
		return true;
	case PW_TOKEN_OLD:
		pw_tell_refused(h, "old");
		*sent = show_again(h, c, r, PW_W_E_OLD, 0, MHD_HTTP_FORBIDDEN);
		return false;
	case PW_TOKEN_USED_UP:
		pw_tell_refused(h, "used");
		why.status = MHD_HTTP_CONFLICT;
		why.why = PW_W_E_USED;
		break;
	case PW_TOKEN_FORGED:
		pw_tell_refused(h, "forged");
		why.why = PW_W_E_FORGED;
		break;
	}
	*sent = pw_refuse(h, c, &why);
	return false;
}

static unsigned status_of(enum pw_answer answer)
{
	switch (answer) {
	case PW_DONE_SO: return MHD_HTTP_SEE_OTHER;
	case PW_PIN_IS_WRONG: return MHD_HTTP_FORBIDDEN;
	case PW_PIN_TOO_SOON: return MHD_HTTP_TOO_MANY_REQUESTS;
	case PW_PIN_UNSET: return MHD_HTTP_FORBIDDEN;
	case PW_PIN_IN_HAND: return MHD_HTTP_TOO_MANY_REQUESTS;
	case PW_SESSION_TAKEN: return MHD_HTTP_CONFLICT;
	case PW_SESSION_NONE: return MHD_HTTP_FORBIDDEN;
	case PW_NOT_NOW: return MHD_HTTP_CONFLICT;
	case PW_NOT_SUCH: return MHD_HTTP_BAD_REQUEST;
	case PW_NOT_DONE: break;
	}
	return MHD_HTTP_SERVICE_UNAVAILABLE;
}

static enum MHD_Result go_on(struct MHD_Connection *c, const struct pw_leaf *leaf,
			     const struct pw_act *act, const struct pw_done_act *done)
{
	char session[160];

	if (act->kind == PW_A_LEAVE)
		return pw_see_other(c, leaf->then(act), PW_SESSION_OVER);
	if (act->kind != PW_A_OPEN)
		return pw_see_other(c, leaf->then(act), NULL);
	snprintf(session, sizeof session, "session=%s; Path=/; HttpOnly; SameSite=Strict",
		 done->session);
	return pw_see_other(c, leaf->then(act), session);
}

/* By the watch's answer. */
static enum MHD_Result conclude(struct pw_http *h, struct MHD_Connection *c,
				const struct request *r, const struct pw_act *act,
				const struct pw_done_act *answer)
{
	static const struct refusal unanswered = { .status = MHD_HTTP_SERVICE_UNAVAILABLE,
						   .why = PW_W_UNANSWERED, .whole = true };
	struct pw_done_act done;

	if (!answer)
		return pw_refuse(h, c, &unanswered);
	done = *answer; /* it lives until the next call */
	if (done.answer == PW_DONE_SO ||
	    (act->kind == PW_A_LEAVE && done.answer == PW_SESSION_NONE))
		return go_on(c, r->leaf, act, &done);
	if (done.answer == PW_SESSION_NONE)
		return no_session(h, c, r->leaf->role, &done);
	int64_t wait_ms = done.answer == PW_PIN_TOO_SOON ? done.wait_ms
			: done.answer == PW_PIN_IN_HAND  ? 1000 : 0;

	return show_again(h, c, r, pw_say_answer(done.answer), wait_ms, status_of(done.answer));
}

static void wipe(struct pw_form *f, const char *name)
{
	for (unsigned i = 0; i < f->count; i++)
		if (!strcmp(f->field[i].name, name))
			sodium_memzero(f->field[i].value, sizeof f->field[i].value);
}

/* Of a form that is ours and new. */
static enum MHD_Result act_on(struct pw_http *h, struct MHD_Connection *c, struct request *r,
			      const struct pw_snapshot *s)
{
	struct pw_act act;
	enum MHD_Result sent;
	enum pw_word wrong;

	memset(&act, 0, sizeof act);
	wrong = r->leaf->read(&r->sent->form, s, &act);
	wipe(&r->sent->form, "pin"); /* it is not shown again */
	snprintf(act.session, sizeof act.session, "%s", cookie(c, "session"));
	if (wrong != PW_W_NONE)
		sent = show_again(h, c, r, wrong, 0, MHD_HTTP_BAD_REQUEST);
	else
		sent = conclude(h, c, r, &act, ask_act(h, &act));
	sodium_memzero(&act, sizeof act);
	return sent;
}

enum MHD_Result pw_leaf_sent(struct pw_http *h, struct MHD_Connection *c, struct request *r)
{
	struct sent *form = r->sent;
	struct refusal bad = { .status = MHD_HTTP_BAD_REQUEST, .why = PW_W_E_FORM, .whole = true,
			       .on = r->leaf->template ? r->leaf->path : "/" };
	struct pw_visit v = { .wait_ms = 0 };
	enum MHD_Result sent;

	if (form->length > PW_FORM_MAX) {
		bad.status = MHD_HTTP_CONTENT_TOO_LARGE;
		bad.why = PW_W_E_LONG;
		bad.whole = false;
		return pw_refuse(h, c, &bad);
	}
	pw_form_body(&form->form, form->body, form->length);
	if (form->form.spoiled || form->query.spoiled ||
	    !pw_form_only(&form->form, r->leaf->fields))
		return pw_refuse(h, c, &bad);
	/* A watch that does not answer uses up no token. */
	const struct pw_snapshot *s = pw_ask(h->ask);

	if (!s)
		return pw_give_silent(h, c);
	if (!let_in(h, c, r->leaf, &v, &sent) || !token_taken(h, c, r, &sent))
		return sent;
	return act_on(h, c, r, s);
}
