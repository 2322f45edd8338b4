/* SPDX-License-Identifier: Apache-2.0 */
#include <inttypes.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

#include "leaf.h"

void pw_clock_text(int64_t ms, bool down, char text[PW_CLOCK_MAX])
{
	int64_t s = (ms + (down ? 999 : 0)) / 1000;

	if (s < 3600)
		snprintf(text, PW_CLOCK_MAX, "%" PRId64 ":%02d", s / 60, (int)(s % 60));
	else
		snprintf(text, PW_CLOCK_MAX, "%" PRId64 ":%02d:%02d", s / 3600,
			 (int)(s / 60 % 60), (int)(s % 60));
}

void pw_wall_text(int64_t wall_ms, const char *format, char text[PW_CLOCK_MAX])
{
	time_t second = (time_t)(wall_ms / 1000 - (wall_ms % 1000 < 0));
	struct tm tm;

	text[0] = '\0';
	if (!localtime_r(&second, &tm) || strftime(text, PW_CLOCK_MAX, format, &tm) == 0)
		snprintf(text, PW_CLOCK_MAX, "?");
}

static void put_bus(struct pw_sheet *t, const struct pw_view *v)
{
	pw_sheet_html(t, v->s->bus);
}

/* What the page is called, and whose it is. */
static void put_title(struct pw_sheet *t, const struct pw_view *v)
{
	pw_sheet_word(t, v->leaf ? v->leaf->title : v->said.headline, "", "");
	if (!v->s)
		return;
	pw_sheet_raw(t, " – ");
	pw_sheet_word(t, PW_W_BUS, "", "");
	pw_sheet_raw(t, " ");
	put_bus(t, v);
}

static void put_look(struct pw_sheet *t, const struct pw_view *v)
{
	pw_sheet_raw(t, v->said.look);
}

static void put_hindered(struct pw_sheet *t, const struct pw_view *v)
{
	pw_sheet_raw(t, v->said.hindrance == PW_W_NONE ? "" : " hindered");
}

static void put_state(struct pw_sheet *t, const struct pw_view *v)
{
	pw_sheet_word(t, v->said.state, "", "");
}

static void put_headline(struct pw_sheet *t, const struct pw_view *v)
{
	pw_sheet_word(t, v->said.headline, "", "");
}

static void put_next(struct pw_sheet *t, const struct pw_view *v)
{
	pw_sheet_word(t, v->said.next, "", "");
}

static void put_clock(struct pw_sheet *t, const struct pw_view *v)
{
	bool down = v->said.clock != PW_W_OVER;
	char text[PW_CLOCK_MAX];

	if (v->said.clock == PW_W_NONE)
		return;
	pw_clock_text(v->said.clock_ms, down, text);
	pw_sheet_fmt(t, "<p class=\"clock%s\"><b data-%s=\"%" PRId64 "\">%s</b> ",
		     strlen(text) > 5 ? " long" : "", down ? "down" : "up", v->said.clock_ms, text);
	pw_sheet_word(t, v->said.clock, "", "");
	pw_sheet_raw(t, "</p>\n");
}

static void put_hindrance(struct pw_sheet *t, const struct pw_view *v)
{
	char more[80];

	if (v->said.hindrance == PW_W_NONE)
		return;
	snprintf(more, sizeof more, "<span data-down=\"%" PRId64 "\" data-seconds>%" PRId64 "</span>",
		 v->said.more_ms, (v->said.more_ms + 999) / 1000);
	pw_sheet_raw(t, "<p class=\"hindrance\">");
	pw_sheet_count(t, v->said.hindrance, v->s->rows, more);
	pw_sheet_raw(t, "</p>\n");
}

static void put_service(struct pw_sheet *t, const struct pw_view *v)
{
	const struct pw_snapshot *s = v->s;
	int64_t left_ms = pw_span_ms(s->now_ms, s->service_end_ms);
	char end[PW_CLOCK_MAX], left[PW_CLOCK_MAX];

	if (!s->service)
		return;
	pw_sheet_raw(t, "<p class=\"service\">");
	if (left_ms >= 0) {
		pw_wall_text(s->wall_ms + left_ms, "%H:%M %Z", end);
		pw_clock_text(left_ms, true, left);
		pw_sheet_word(t, PW_W_NOTE_SERVICE, end, left);
	} else {
		pw_sheet_word(t, PW_W_NOTE_SERVICE_NO_END, "", "");
	}
	pw_sheet_raw(t, "</p>\n");
}

static void put_aisle(struct pw_sheet *t, const struct pw_view *v)
{
	pw_aisle(t, v->s);
}

static void put_language(struct pw_sheet *t, const struct pw_view *v)
{
	pw_sheet_raw(t, pw_language_tag(v->choice->language));
}

/* The dark colours stand over the light ones, in a file of their own. */
static void put_dark(struct pw_sheet *t, const struct pw_view *v)
{
	static const char *const media[PW_THEMES] = {
		[PW_THEME_AUTO] = "screen and (prefers-color-scheme: dark)",
		[PW_THEME_DARK] = "screen",
	};

	if (media[v->choice->theme])
		pw_sheet_fmt(t, "<link rel=\"stylesheet\" href=\"/dark.css\" media=\"%s\">\n",
			     media[v->choice->theme]);
}

/* The leaf's one question, when the address asks it and it is plain. */
static const char *asked(const struct pw_view *v)
{
	const char *value = v->leaf && v->leaf->asks && v->visit
		? pw_visit_value(v->visit, v->leaf->asks) : "";

	return value[strspn(value, "abcdefghijklmnopqrstuvwxyz0123456789_")] ? "" : value;
}

/* This page's own address, to be followed by what else it asks. */
static void put_here(struct pw_sheet *t, const struct pw_view *v)
{
	const char *value = asked(v);

	pw_sheet_raw(t, v->leaf ? v->leaf->path : "/");
	if (value[0])
		pw_sheet_fmt(t, "?%s=%.40s", v->leaf->asks, value);
}

/* Not away from a refusal: it is there to be read. */
static bool follows(const struct pw_view *v)
{
	return !v->leaf || (v->leaf->follows && v->visit->refusal == PW_W_NONE);
}

/* With scripts the page follows by itself and is never reloaded (WCAG 2.2, 2.2.1, 2.2.2). Without,
 * a page behind a PIN stays still: each look keeps the session open, and one that nobody sits at
 * must end. The script says of its looks that no hand asks. */
static void put_follow(struct pw_sheet *t, const struct pw_view *v)
{
	if (v->choice->held || !follows(v))
		return;
	if (!v->leaf || v->leaf->role == PW_NOBODY)
		pw_sheet_fmt(t, "<noscript><meta http-equiv=\"refresh\" content=\"%d\">"
			     "</noscript>\n", v->leaf ? 5 : 2);
	pw_sheet_raw(t, "<script src=\"/page.js\" defer></script>\n");
}

static void put_held(struct pw_sheet *t, const struct pw_view *v)
{
	if (!v->choice->held || !follows(v))
		return;
	pw_sheet_raw(t, "<p class=\"service\">");
	pw_sheet_word(t, PW_W_HELD, "", "");
	pw_sheet_raw(t, " <a href=\"");
	put_here(t, v);
	pw_sheet_raw(t, "\">");
	pw_sheet_word(t, PW_W_GO_ON, "", "");
	pw_sheet_raw(t, "</a></p>\n");
}

/* Hidden at first; the stylesheet shows it when nothing has replaced it for a while: the script
 * did not come, or the browser was held up. */
static void put_stale(struct pw_sheet *t, const struct pw_view *v)
{
	if (v->choice->held || !follows(v))
		return;
	pw_sheet_raw(t, "<p class=\"stale\"><a href=\"");
	put_here(t, v);
	pw_sheet_raw(t, "\">");
	pw_sheet_word(t, PW_W_STALE, "", "");
	pw_sheet_raw(t, "</a></p>\n");
}

static void put_hold(struct pw_sheet *t, const struct pw_view *v)
{
	if (!v->s || !follows(v))
		return;
	pw_sheet_raw(t, "<ul>\n<li><a href=\"");
	put_here(t, v);
	pw_sheet_raw(t, asked(v)[0] ? "&amp;hold=1\">" : "?hold=1\">");
	pw_sheet_word(t, PW_W_HOLD, "", "");
	pw_sheet_raw(t, "</a></li>\n</ul>\n");
}

/* A choice leads back to the page at which it was made. */
static void put_choice(struct pw_sheet *t, const struct pw_view *v, const char *what,
		       const char *to, bool current)
{
	pw_sheet_fmt(t, "<li><a href=\"/%s?to=%s", what, to);
	if (v->leaf) {
		pw_sheet_raw(t, "&amp;from=");
		put_here(t, v);
	}
	pw_sheet_raw(t, current ? "\" aria-current=\"true\"" : "\"");
}

static void put_languages(struct pw_sheet *t, const struct pw_view *v)
{
	for (int l = PW_LANGUAGE_NONE + 1; l < PW_LANGUAGES; l++) {
		const char *tag = pw_language_tag((enum pw_language)l);

		put_choice(t, v, "lang", tag, l == (int)v->choice->language);
		pw_sheet_fmt(t, " lang=\"%s\" hreflang=\"%s\">", tag, tag);
		pw_sheet_html(t, pw_language_name((enum pw_language)l));
		pw_sheet_raw(t, "</a></li>\n");
	}
}

static void put_themes(struct pw_sheet *t, const struct pw_view *v)
{
	static const enum pw_word word[PW_THEMES] = {
		[PW_THEME_AUTO] = PW_W_AUTO, [PW_THEME_LIGHT] = PW_W_LIGHT,
		[PW_THEME_DARK] = PW_W_DARK,
	};

	for (int c = PW_THEME_NONE + 1; c < PW_THEMES; c++) {
		put_choice(t, v, "theme", pw_theme_name((enum pw_theme)c),
			   c == (int)v->choice->theme);
		pw_sheet_raw(t, ">");
		pw_sheet_word(t, word[c], "", "");
		pw_sheet_raw(t, "</a></li>\n");
	}
}

/* Every page leads to every other; the last two ask for a PIN first. */
static void put_pages(struct pw_sheet *t, const struct pw_view *v)
{
	static const struct { const char *path, *href; enum pw_word word; } page[] = {
		{ "/", "/", PW_W_P_DRIVER }, { "/before", "/before", PW_W_P_BEFORE },
		{ "/found", "/found", PW_W_P_FOUND }, { "/report", "/report", PW_W_P_REPORT },
		{ "/installer", "/pin?for=installer", PW_W_P_INSTALLER },
		{ "/mechanic", "/pin?for=mechanic", PW_W_P_MECHANIC },
	};
	const char *here = v->leaf ? v->leaf->path : "/";

	if (!v->s) /* a refusal, or silence: none of them */
		here = "";
	for (size_t i = 0; i < sizeof page / sizeof page[0]; i++) {
		pw_sheet_fmt(t, "<li><a href=\"%s\"%s>", page[i].href,
			     strcmp(page[i].path, here) ? "" : " aria-current=\"page\"");
		pw_sheet_word(t, page[i].word, "", "");
		pw_sheet_raw(t, "</a></li>\n");
	}
}

static void put_notes(struct pw_sheet *t, const struct pw_view *v)
{
	pw_list_notes(t, v->s);
}

static void put_faults(struct pw_sheet *t, const struct pw_view *v)
{
	pw_list_faults(t, v->s);
}

static void put_lines(struct pw_sheet *t, const struct pw_view *v)
{
	pw_list_lines(t, v->s);
}

static void put_recent(struct pw_sheet *t, const struct pw_view *v)
{
	pw_list_recent(t, v->s);
}

static void put_seen(struct pw_sheet *t, const struct pw_view *v)
{
	char at[PW_CLOCK_MAX];

	pw_wall_text(v->s->wall_ms, "%Y-%m-%d %H:%M:%S %Z", at);
	pw_sheet_word(t, PW_W_SEEN_AT, at, "");
}

static void put_kept(struct pw_sheet *t, const struct pw_view *v)
{
	char kept[24], waiting[24];

	snprintf(kept, sizeof kept, "%" PRIu64, v->s->seq);
	snprintf(waiting, sizeof waiting, "%" PRIu32, v->s->waiting);
	pw_sheet_word(t, PW_W_KEPT, kept, waiting);
}

static void put_token(struct pw_sheet *t, const struct pw_view *v)
{
	pw_put_hidden(t, "token", v->visit->token);
}

static bool waits(enum pw_word refusal)
{
	return refusal == PW_W_A_PIN_SOON;
}

/* Why the form was turned down, before anything else; where one field is to blame, it says why. */
static void put_refusal(struct pw_sheet *t, const struct pw_view *v)
{
	const struct pw_visit *visit = v->visit;
	char wait[PW_CLOCK_MAX] = "";

	if (visit->refusal == PW_W_NONE)
		return;
	if (waits(visit->refusal))
		pw_clock_text(visit->wait_ms, true, wait);
	pw_sheet_raw(t, "<p class=\"refusal\" role=\"alert\">");
	pw_put_shape(t, "mark", "fault");
	if (pw_field_tells(visit->refusal)) {
		pw_sheet_word(t, PW_W_P_REFUSED, "", "");
		pw_sheet_word(t, PW_W_COLON, "", "");
		pw_sheet_raw(t, " ");
	}
	pw_sheet_word(t, visit->refusal, wait, "");
	if (visit->refusal == PW_W_A_NOT_NOW && visit->sent &&
	    !strcmp(pw_form_value(visit->sent, "do"), "try")) {
		pw_sheet_raw(t, " ");
		pw_sheet_word(t, pw_say_untried(v->s), "", "");
	}
	pw_sheet_raw(t, "</p>\n");
}

static void put_leave(struct pw_sheet *t, const struct pw_view *v)
{
	char left[PW_CLOCK_MAX];

	pw_clock_text(v->visit->session_left_ms, true, left);
	pw_sheet_raw(t, "<p class=\"leave\"><a class=\"way\" href=\"/leave\">");
	pw_sheet_word(t, PW_W_P_LEAVE, "", "");
	pw_sheet_raw(t, "</a> ");
	pw_sheet_word(t, PW_W_SESSION_LEFT, left, "");
	pw_sheet_raw(t, "</p>\n");
}

static void put_on(struct pw_sheet *t, const struct pw_view *v)
{
	pw_sheet_raw(t, "<p><a class=\"way\" href=\"");
	pw_sheet_html(t, v->on ? v->on : "/");
	pw_sheet_raw(t, "\">");
	pw_sheet_word(t, PW_W_WAY_ON, "", "");
	pw_sheet_raw(t, "</a></p>\n");
}

static void put_body(struct pw_sheet *t, const struct pw_view *v);

static const struct pw_piece pieces[] = {
	{ "bus", put_bus }, { "look", put_look }, { "state", put_state },
	{ "headline", put_headline }, { "next", put_next }, { "clock", put_clock },
	{ "hindrance", put_hindrance }, { "service", put_service }, { "notes", put_notes },
	{ "faults", put_faults }, { "lines", put_lines }, { "recent", put_recent },
	{ "seen", put_seen }, { "kept", put_kept }, { "aisle", put_aisle },
	{ "language", put_language }, { "dark", put_dark }, { "follow", put_follow },
	{ "held", put_held }, { "stale", put_stale }, { "hindered", put_hindered },
	{ "languages", put_languages }, { "themes", put_themes }, { "title", put_title },
	{ "hold", put_hold }, { "pages", put_pages }, { "body", put_body },
	{ "token", put_token }, { "refusal", put_refusal },
	{ "leave", put_leave }, { "child", pw_put_child_lately }, { "on", put_on },
	{ NULL, NULL },
};

static bool put_from(const struct pw_piece *table, struct pw_sheet *t, const char *name, size_t len,
		     const struct pw_view *v)
{
	for (const struct pw_piece *p = table; p && p->name; p++)
		if (strlen(p->name) == len && !memcmp(p->name, name, len)) {
			p->put(t, v);
			return true;
		}
	return false;
}

/* {{name}}: a piece; {{=name}}: a word. */
static void put_piece(struct pw_sheet *t, const char *name, size_t len, const struct pw_view *v)
{
	if (*name == '=') {
		enum pw_word word = pw_word_find(name + 1, len - 1);

		t->over |= word == PW_W_NONE;
		pw_sheet_word(t, word, "", "");
		return;
	}
	if (!put_from(pieces, t, name, len, v) &&
	    !put_from(v->leaf ? v->leaf->pieces : NULL, t, name, len, v))
		t->over = true;
}

static void fill(struct pw_sheet *t, const char *template, const struct pw_view *v)
{
	for (const char *open; (open = strstr(template, "{{"));) {
		const char *close = strstr(open, "}}");

		if (!close) {
			t->over = true;
			return;
		}
		pw_sheet_bytes(t, template, (size_t)(open - template));
		put_piece(t, open + 2, (size_t)(close - open - 2), v);
		template = close + 2;
	}
	pw_sheet_raw(t, template);
}

static void put_body(struct pw_sheet *t, const struct pw_view *v)
{
	fill(t, v->template, v);
}

int pw_html_fill(const struct pw_view *v, char *buf, size_t size)
{
	struct pw_sheet t;

	pw_sheet_open(&t, buf, size);
	t.language = v->choice->language;
	fill(&t, pw_web_frame, v);
	return pw_sheet_close(&t);
}

int pw_html_page(const struct pw_snapshot *s, const struct pw_choice *c, char *buf, size_t size)
{
	struct pw_view v = { .s = s, .choice = c, .template = pw_web_page };

	pw_say(s, &v.said);
	return pw_html_fill(&v, buf, size);
}

int pw_html_silent(const struct pw_choice *c, char *buf, size_t size)
{
	const struct pw_view v = {
		.choice = c, .template = pw_web_silent,
		.said = { .look = "silent", .state = PW_W_SILENT, .headline = PW_W_WATCH_SILENT,
			  .next = PW_W_NEXT_SILENT },
	};

	return pw_html_fill(&v, buf, size);
}
