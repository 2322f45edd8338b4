/* SPDX-License-Identifier: Apache-2.0 */
/* A request done: a page drawn, a form obeyed, a file written. */
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "web_internal.h"

enum pw_lane_kind pw_turn_lane(const struct pw_turn *t)
{
	const struct pw_leaf *leaf = t->asked.leaf;

	if (t->post && (leaf->post == pw_sign_in_post || leaf->post == pw_password_post))
		return PW_LANE_PASSWORD;
	if (leaf->file || t->as == PW_AS_CSV || t->as == PW_AS_LINES)
		return PW_LANE_FILE;
	return PW_LANE_PAGE;
}

/* -- who --------------------------------------------------------------------------------------- */

struct bearing {
	struct pw_turn *t;
	struct pw_account account;
};

static int work_bearer(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct bearing *b = ctx;
	char code[PW_AUDIT_CODE];
	int found = pw_people_token(s, b->t->bearer, b->t->asked.now_ms, code, why, size);

	if (found == 1)
		found = pw_people_one(s, code, &b->account, why, size);
	return found < 0 ? found : 0;
}

/* A program may see and no more, and as much of it as the account whose token it has. */
static void know_bearer(struct pw_turn *t)
{
	struct bearing b = { .t = t };

	if (!t->bearer[0])
		return;
	if (pw_asked_desk(&t->asked, work_bearer, &b))
		pw_turn_refuse(t, 503, PW_P_WEB_AWAY);
	else if (b.account.role == PW_MAY_NOTHING)
		pw_turn_refuse(t, 401, PW_P_WEB_NO_TOKEN);
	t->asked.role = b.account.role < PW_MAY_SEE ? b.account.role : PW_MAY_SEE;
	memcpy(t->asked.who, b.account.code, sizeof(t->asked.who));
}

static void go(struct pw_turn *t, const char *where)
{
	t->status = 303;
	snprintf(t->then, sizeof(t->then), "%s", where);
}

static void ask_to_sign_in(struct pw_turn *t)
{
	const bool fits = strlen(t->where) < PW_ASK_VALUE;

	if (t->bearer[0] || t->as == PW_AS_CSV || t->as == PW_AS_LINES) {
		pw_turn_refuse(t, 401, PW_P_WEB_SIGNED_OUT);
		return;
	}
	go(t, "/sign-in?then=");
	pw_web_escape(t->then, sizeof(t->then), fits ? t->where : t->asked.leaf->path);
}

static void judge_role(struct pw_turn *t)
{
	const struct pw_leaf *leaf = t->asked.leaf;

	if (t->status || leaf->see == PW_MAY_NOTHING)
		return;
	if (!t->signed_in && !t->bearer[0])
		ask_to_sign_in(t);
	else if (t->session.must_change && leaf->get != pw_password_get && !t->post)
		go(t, "/password");
	else if (t->asked.role < leaf->see)
		pw_turn_refuse(t, 403, PW_P_WEB_MAY_NOT);
}

/* -- pages ------------------------------------------------------------------------------------- */

static void frame(struct pw_turn *t, struct pw_report *r)
{
	char token[PW_FORM_TOKEN], *inner = NULL;
	size_t length;
	FILE *out = open_memstream(&inner, &length), *whole;

	if (out) {
		pw_form_token(t->web->sessions, t->id, t->asked.leaf ? t->asked.leaf->path : "/",
			      token);
		pw_report_html(r, t->where, token, t->as == PW_AS_PRINT, out);
		fclose(out);
	}
	whole = inner ? open_memstream(&t->text, &t->length) : NULL;
	if (whole) {
		pw_frame(t, inner, whole);
		fclose(whole);
	}
	free(inner);
	t->type = "text/html; charset=utf-8";
}

static bool is_for_a_program(const struct pw_turn *t)
{
	return t->bearer[0] || t->as == PW_AS_CSV || t->as == PW_AS_LINES;
}

static void draw_line(struct pw_turn *t, const char *const *fill)
{
	FILE *out = open_memstream(&t->text, &t->length);

	if (!out)
		return;
	pw_phrase_fill(out, pw_phrase(t->asked.tongue, t->why), fill);
	putc('\n', out);
	fclose(out);
	t->type = "text/plain; charset=utf-8";
}

void pw_turn_draw_refusal(struct pw_turn *t)
{
	const char *const fill[] = { t->asked.wrong_fill, NULL };
	struct pw_report *r;

	if (is_for_a_program(t)) {
		draw_line(t, fill);
		return;
	}
	r = pw_report_new(t->asked.tongue, t->asked.zone);
	if (!r)
		return;
	pw_report_say(r, PW_SAY_TITLE, PW_P_WEB_REFUSED, NULL);
	pw_report_say(r, PW_SAY_ALARM, t->why, fill[0], NULL);
	pw_report_link(r, pw_leaves_office[0].path, PW_P_WEB_BEGINNING);
	frame(t, r);
	pw_report_free(r);
}

/* What a leaf's get or post gave back that is no page. */
static void turn_down(struct pw_turn *t, int result)
{
	if (result == 1)
		pw_turn_refuse(t, 400, t->asked.wrong ? t->asked.wrong : PW_P_WEB_BAD);
	else
		pw_turn_refuse(t, 503, PW_P_WEB_AWAY);
}

static void draw_page(struct pw_turn *t)
{
	struct pw_asked *q = &t->asked;
	struct pw_report *r = pw_report_new(q->tongue, q->zone);
	int result = r ? 0 : -1;

	if (t->signed_in && !q->wrong && t->as == PW_AS_PAGE)
		pw_signed_said(t->web->sessions, t->id, q->said);
	if (r && q->wrong)
		pw_report_wrong(r, q->wrong_field, q->wrong, q->wrong_fill);
	if (r)
		result = q->leaf->get(q, r);
	if (result == 0 && pw_report_ok(r)) {
		t->status = !q->wrong ? 200 : t->retry_s ? 429 : 422;
		frame(t, r);
	} else {
		turn_down(t, result ? result : -1);
	}
	pw_report_free(r);
}

/* -- forms ------------------------------------------------------------------------------------- */

static void act_post(struct pw_turn *t)
{
	struct pw_asked *q = &t->asked;
	const int result = q->leaf->post(q);

	if (result == 1) {
		draw_page(t);
	} else if (result < 0) {
		turn_down(t, result);
	} else {
		if (q->said[0])
			pw_signed_say(t->web->sessions, t->id, q->said);
		go(t, q->then[0] ? q->then : q->leaf->path);
	}
}

/* -- files ------------------------------------------------------------------------------------- */

static FILE *begin_file(struct pw_turn *t)
{
	int copy;

	t->fd = open(t->web->o->dir, O_TMPFILE | O_RDWR | O_CLOEXEC, 0600);
	copy = t->fd < 0 ? -1 : fcntl(t->fd, F_DUPFD_CLOEXEC, 0);
	return copy < 0 ? NULL : fdopen(copy, "w");
}

/* 0, or result, or -1 where the disk is full. */
static int end_file(struct pw_turn *t, FILE *out, int result)
{
	const bool broke = ferror(out) != 0;

	if (fclose(out) || broke) {
		pw_office_say("page %s: a file cannot be written into %s", t->asked.leaf->path,
			      t->web->o->dir);
		result = result ? result : -1;
	}
	if (result) {
		close(t->fd);
		t->fd = -1;
	}
	return result;
}

static void name_rows(struct pw_turn *t)
{
	const char *leaf = t->asked.leaf->path[1] ? t->asked.leaf->path + 1 : "morning";
	const bool csv = t->as == PW_AS_CSV;
	const int32_t day = t->asked.today;

	t->type = csv ? "text/csv; charset=utf-8; header=present" : "application/x-ndjson";
	snprintf(t->name, sizeof(t->name), "postwalk-%s%s%s-%04d-%02d-%02d.%s", leaf,
		 csv && t->table[0] ? "-" : "", csv ? t->table : "", day / 10000, day / 100 % 100,
		 day % 100, csv ? "csv" : "jsonl");
}

static void give_rows(struct pw_turn *t)
{
	struct pw_asked *q = &t->asked;
	struct pw_report *r = pw_report_new(q->tongue, q->zone);
	FILE *out = begin_file(t);
	int result = r && out ? 0 : -1;
	bool is_table = true;

	if (result == 0) {
		pw_report_flow(r, t->as == PW_AS_CSV, t->table[0] ? t->table : NULL, out);
		result = q->leaf->get(q, r);
		is_table = pw_report_flow_end(r) == 0;
		if (result == 0 && !pw_report_ok(r))
			result = -1;
	}
	if (out)
		result = end_file(t, out, result);
	if (result)
		turn_down(t, result);
	else if (!is_table)
		pw_turn_refuse(t, 404, PW_P_WEB_NO_TABLE);
	else
		t->status = 200;
	name_rows(t);
	pw_report_free(r);
}

static void give_file(struct pw_turn *t)
{
	struct pw_asked *q = &t->asked;
	FILE *out = begin_file(t);
	char name[128] = "";
	int result = -1;

	if (out) {
		result = q->leaf->file(q, out, &t->type, name);
		result = end_file(t, out, result);
	}
	snprintf(t->name, sizeof(t->name), "%s", name);
	if (result)
		turn_down(t, result);
	else
		t->status = 200;
}

/* ---------------------------------------------------------------------------------------------- */

static bool is_refused(const struct pw_turn *t)
{
	return t->status >= 400 && !t->text;
}

void pw_turn_act(struct pw_turn *t)
{
	know_bearer(t);
	judge_role(t);
	if (!t->status && t->post)
		act_post(t);
	else if (!t->status && t->asked.leaf->file)
		give_file(t);
	else if (!t->status && (t->as == PW_AS_CSV || t->as == PW_AS_LINES))
		give_rows(t);
	else if (!t->status)
		draw_page(t);
	if (is_refused(t))
		pw_turn_draw_refusal(t);
	MHD_resume_connection(t->connection);
}
