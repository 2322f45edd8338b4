/* SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "report_internal.h"

void pw_html_text(const char *text, FILE *out)
{
	for (; *text; text++) {
		switch (*text) {
		case '&': fputs("&amp;", out); break;
		case '<': fputs("&lt;", out); break;
		case '>': fputs("&gt;", out); break;
		case '"': fputs("&quot;", out); break;
		case '\'': fputs("&#39;", out); break;
		default: putc(*text, out);
		}
	}
}

struct page {
	const struct pw_report *r;
	const char *address, *token;
	bool print;
	FILE *out;
	unsigned headings, forms, drawings;
};

static void put_said(struct page *p, const struct pw_block *b)
{
	static const struct { const char *open, *close; } as[] = {
		[PW_SAY_TITLE] = { "<h1>", "</h1>\n" },
		[PW_SAY_LEAD] = { "<p class=\"lead\">", "</p>\n" },
		[PW_SAY_TEXT] = { "<p>", "</p>\n" },
		[PW_SAY_NEXT] = { "<p class=\"next\">", "</p>\n" },
		[PW_SAY_CAUTION] = { "<p class=\"caution\">", "</p>\n" },
		[PW_SAY_SOURCE] = { "<p class=\"source\">", "</p>\n" },
		[PW_SAY_ALARM] = { "<p class=\"alarm\">", "</p>\n" },
	};

	if (b->as == PW_SAY_HEADING)
		fprintf(p->out, "<h2 id=\"heading-%u\">", ++p->headings);
	else
		fputs(as[b->as].open, p->out);
	pw_html_text(b->text, p->out);
	fputs(b->as == PW_SAY_HEADING ? "</h2>\n" : as[b->as].close, p->out);
}

static void put_link(struct page *p, const struct pw_block *b)
{
	fputs("<p class=\"way\"><a href=\"", p->out);
	pw_html_text(b->href, p->out);
	fputs("\">", p->out);
	pw_html_text(b->text, p->out);
	fputs("</a></p>\n", p->out);
}

static void put_verbatim(struct page *p, const struct pw_block *b)
{
	fputs("<pre role=\"region\" tabindex=\"0\" aria-label=\"", p->out);
	pw_html_text(pw_phrase(p->r->tongue, PW_P_TO_TYPE), p->out);
	fputs("\"><code>", p->out);
	pw_html_text(b->text, p->out);
	fputs("</code></pre>\n", p->out);
}

static void put_table(struct page *p, const struct pw_block *b)
{
	char heading[32] = "";

	if (p->headings)
		snprintf(heading, sizeof(heading), "heading-%u", p->headings);
	pw_html_table(b->table, p->address, heading, p->print, p->out);
}

/* Hidden until the script has drawn it. */
static void put_picture(struct page *p, const struct pw_block *b)
{
	if (p->print || !b->pictured)
		return;
	fputs("<figure hidden data-picture=\"", p->out);
	pw_html_text(b->href, p->out);
	fprintf(p->out, "\" data-table=\"table-%s\" data-roles=\"", b->pictured->name);
	pw_html_text(b->roles, p->out);
	fputs("\"><figcaption>", p->out);
	pw_html_text(b->text, p->out);
	fputs("</figcaption></figure>\n", p->out);
}

static void put_svg(struct page *p, const struct pw_block *b)
{
	const unsigned number = ++p->drawings;

	fprintf(p->out, "<figure class=\"drawing\"><figcaption id=\"drawing-%u\">", number);
	pw_html_text(b->text, p->out);
	fprintf(p->out, "</figcaption><div class=\"scroll\" role=\"region\" tabindex=\"0\" "
			"aria-labelledby=\"drawing-%u\">%s</div></figure>\n", number, b->href);
}

static void put_form(struct page *p, const struct pw_block *b)
{
	if (!p->print)
		pw_html_form(p->r, b->form, ++p->forms, p->token, p->out);
}

void pw_report_html(const struct pw_report *r, const char *address, const char *token, bool print,
		    FILE *out)
{
	static void (*const put[PW_BLOCKS])(struct page *p, const struct pw_block *b) = {
		[PW_BLOCK_SAY] = put_said, [PW_BLOCK_LINK] = put_link, [PW_BLOCK_VERBATIM] = put_verbatim,
		[PW_BLOCK_TABLE] = put_table, [PW_BLOCK_PICTURE] = put_picture, [PW_BLOCK_SVG] = put_svg,
		[PW_BLOCK_FORM] = put_form,
	};
	struct page p = { .r = r, .address = address, .token = token, .print = print, .out = out };

	if (r->wrong && !print) {
		fputs("<p class=\"wrong\" role=\"alert\" id=\"wrong\">", out);
		pw_html_text(r->wrong, out);
		fputs("</p>\n", out);
	}
	for (const struct pw_block *b = r->first; b; b = b->next)
		put[b->kind](&p, b);
}
