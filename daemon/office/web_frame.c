/* SPDX-License-Identifier: Apache-2.0 */
/* The whole document about what a page says: HTML, as the WHATWG's standard has it. */
#include <string.h>

#include "web_internal.h"

static void put_phrase(const struct pw_turn *t, enum pw_phrase phrase, FILE *out)
{
	pw_html_text(pw_phrase(t->asked.tongue, phrase), out);
}

static const char *path_of(const struct pw_turn *t)
{
	return t->asked.leaf ? t->asked.leaf->path : "";
}

/* -- the head ---------------------------------------------------------------------------------- */

static void put_title(const struct pw_turn *t, FILE *out)
{
	fputs("<title>", out);
	if (t->asked.leaf && t->asked.leaf->name) {
		put_phrase(t, t->asked.leaf->name, out);
		fputs(" · ", out);
	}
	put_phrase(t, PW_P_SITE, out);
	fputs("</title>\n", out);
}

static void put_head(const struct pw_turn *t, FILE *out)
{
	fprintf(out, "<!DOCTYPE html>\n<html lang=\"%s\">\n<head>\n<meta charset=\"utf-8\">\n",
		pw_tongue_tag(t->asked.tongue));
	fputs("<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n", out);
	put_title(t, out);
	for (const struct pw_still *s = pw_stills; s->path; s++)
		if (strncmp(s->type, "text/css", 8) == 0)
			fprintf(out, "<link rel=\"stylesheet\" href=\"%s\">\n", s->path);
	for (const struct pw_still *s = pw_stills; s->path; s++)
		if (strncmp(s->type, "text/javascript", 15) == 0 && t->as == PW_AS_PAGE)
			fprintf(out, "<script src=\"%s\" defer></script>\n", s->path);
	fputs("</head>\n", out);
}

/* -- the header: pages, who, languages --------------------------------------------------------- */

static void put_pages(const struct pw_turn *t, FILE *out)
{
	fputs("<nav aria-label=\"", out);
	put_phrase(t, PW_P_PAGES, out);
	fputs("\">\n<ul class=\"pages\">\n", out);
	for (size_t i = 0; i < pw_leaves_office_count; i++) {
		const struct pw_leaf *leaf = &pw_leaves_office[i];

		if (!leaf->name || leaf->see > t->asked.role)
			continue;
		fprintf(out, "<li><a href=\"%s\"%s>", leaf->path,
			strcmp(leaf->path, path_of(t)) == 0 ? " aria-current=\"page\"" : "");
		put_phrase(t, leaf->name, out);
		fputs("</a></li>\n", out);
	}
	fputs("</ul>\n</nav>\n", out);
}

static void put_who(const struct pw_turn *t, FILE *out)
{
	static const enum pw_phrase may[] = {
		[PW_MAY_NOTHING] = PW_P_CLOSED, [PW_MAY_SEE] = PW_P_SEE,
		[PW_MAY_ACT] = PW_P_ACT, [PW_MAY_ADMINISTER] = PW_P_ADMINISTER,
	};
	const char *const fill[] = { t->asked.who, NULL };
	char token[PW_FORM_TOKEN];

	fputs("<div class=\"who\">\n<p>", out);
	/* A code needs no escape. */
	pw_phrase_fill(out, pw_phrase(t->asked.tongue, PW_P_SIGNED_IN_AS), fill);
	fputs(" (", out);
	put_phrase(t, may[t->asked.role], out);
	fputs(")</p>\n<p><a href=\"/password\">", out);
	put_phrase(t, PW_P_SIGN_CHANGE, out);
	fputs("</a></p>\n", out);
	pw_form_token(t->web->sessions, t->id, "/sign-out", token);
	fprintf(out, "<form method=\"post\" action=\"/sign-out\">"
		     "<input type=\"hidden\" name=\"token\" value=\"%s\">"
		     "<button type=\"submit\">", token);
	put_phrase(t, PW_P_SIGN_OUT, out);
	fputs("</button></form>\n</div>\n", out);
}

static void put_languages(const struct pw_turn *t, FILE *out)
{
	const char *where = t->where[0] ? t->where : "/";

	fputs("<nav aria-label=\"", out);
	put_phrase(t, PW_P_LANGUAGE, out);
	fputs("\">\n<ul class=\"languages\">\n", out);
	for (enum pw_tongue l = PW_ENGLISH; l < PW_TONGUES; l++) {
		fputs("<li><a href=\"", out);
		pw_html_text(where, out);
		fprintf(out, "%stongue=%s\" lang=\"%s\" hreflang=\"%s\"%s>",
			strchr(where, '?') ? "&amp;" : "?", pw_tongue_tag(l), pw_tongue_tag(l),
			pw_tongue_tag(l), l == t->asked.tongue ? " aria-current=\"true\"" : "");
		pw_html_text(pw_tongue_name(l), out);
		fputs("</a></li>\n", out);
	}
	fputs("</ul>\n</nav>\n", out);
}

static void put_header(const struct pw_turn *t, FILE *out)
{
	fputs("<header>\n<p class=\"office\">", out);
	put_phrase(t, PW_P_SITE, out);
	fputs("</p>\n", out);
	if (t->as != PW_AS_PRINT) {
		if (t->signed_in && !t->session.must_change)
			put_pages(t, out);
		if (t->signed_in)
			put_who(t, out);
		put_languages(t, out);
	}
	fputs("</header>\n", out);
}

/* ---------------------------------------------------------------------------------------------- */

void pw_frame(struct pw_turn *t, const char *inner, FILE *out)
{
	put_head(t, out);
	fputs("<body>\n", out);
	if (t->as != PW_AS_PRINT) {
		fputs("<a class=\"skip\" href=\"#content\">", out);
		put_phrase(t, PW_P_SKIP, out);
		fputs("</a>\n", out);
	}
	put_header(t, out);
	fputs("<main id=\"content\" tabindex=\"-1\">\n", out);
	if (t->asked.said[0]) {
		fputs("<p class=\"said\" role=\"status\">", out);
		pw_html_text(t->asked.said, out);
		fputs("</p>\n", out);
	}
	fputs(inner, out);
	fputs("</main>\n<footer>\n<p>", out);
	put_phrase(t, PW_P_WHAT_A_PRESS_SAYS, out);
	fputs("</p>\n</footer>\n</body>\n</html>\n", out);
}
