/* SPDX-License-Identifier: Apache-2.0 */
/*
 * A mail as text (RFC 5322): headers that nothing can break out of, and UTF-8 that seven-bit
 * servers carry (RFC 2045, RFC 2047).
 */
#include "tell_internal.h"

#include <stdlib.h>
#include <string.h>
#include <time.h>

#define LINE_MAX_CHARS 76    /* RFC 2045, 6.7: of quoted-printable, without its CRLF */
#define ENCODED_WORD_MAX 75  /* RFC 2047, 2 */
#define FOLD_AT 70           /* RFC 5322, 2.1.1: lines should stay under 78 */

/* -- headers ----------------------------------------------------------------------------------- */

static bool is_plain(const char *text)
{
	for (const char *p = text; *p != '\0'; p++)
		if ((unsigned char)*p < ' ' || (unsigned char)*p > '~')
			return false;
	return strstr(text, "=?") == NULL;
}

/* Words, folded at spaces. */
static void put_plain(FILE *out, size_t column, const char *text)
{
	while (*text != '\0') {
		const size_t word = strcspn(text, " "), spaces = strspn(text + word, " ");

		fwrite(text, 1, word, out);
		column += word;
		text += word + spaces;
		if (*text == '\0')
			break;
		if (column + 1 + strcspn(text, " ") > FOLD_AT) {
			fputs("\r\n", out);
			column = 0;
		}
		column += (size_t)fprintf(out, "%*s", (int)(spaces > 0 ? spaces : 1), "");
	}
}

/* One character as it stands in an encoded word: "Q" of RFC 2047, 4.2 and 5 (3). */
static size_t encode(const char *text, char out[13])
{
	size_t length = 1, used = 0;

	while ((text[length] & 0xc0) == 0x80 && length < 4)
		length++;
	for (size_t i = 0; i < length; i++) {
		const unsigned char c = (unsigned char)text[i];

		if ((c >= '0' && c <= '9') || (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z'))
			out[used++] = (char)c;
		else if (c == ' ')
			out[used++] = '_';
		else
			used += (size_t)snprintf(out + used, 4, "=%02X", c);
	}
	out[used] = '\0';
	return length;
}

static void put_encoded(FILE *out, size_t column, const char *text)
{
	static const char begin[] = "=?utf-8?Q?", end[] = "?=";
	const size_t most = ENCODED_WORD_MAX - strlen(begin) - strlen(end);
	size_t used = column; /* the first word shares its line with the header's name */
	char one[13];

	fputs(begin, out);
	while (*text != '\0') {
		text += encode(text, one);
		if (used + strlen(one) > most) {
			fprintf(out, "%s\r\n %s", end, begin);
			used = 0;
		}
		fputs(one, out);
		used += strlen(one);
	}
	fputs(end, out);
}

static void put_subject(FILE *out, const struct pw_news *n)
{
	static const char name[] = "Subject: ";
	char line[sizeof(n->subject)];

	pw_words_copy(line, sizeof(line), n->subject);
	fputs(name, out);
	if (is_plain(line))
		put_plain(out, strlen(name), line);
	else
		put_encoded(out, strlen(name), line);
	fputs("\r\n", out);
}

static void put_date(FILE *out, int64_t now_ms)
{
	const time_t now = (time_t)(now_ms / 1000);
	struct tm tm;
	char text[64] = "";

	if (localtime_r(&now, &tm) != NULL)
		strftime(text, sizeof(text), "%a, %d %b %Y %H:%M:%S %z", &tm);
	fprintf(out, "Date: %s\r\n", text);
}

/* Each telling is a mail of its own, so that no server takes it for one that it has; a try that is
 * made again is the same mail. All of one matter are one thread. */
static void put_ids(FILE *out, const struct pw_news *n, const char *from)
{
	const char *at = strrchr(from, '@');
	const char *domain = at != NULL ? at + 1 : from;

	fprintf(out, "Message-ID: <%s.%u@%s>\r\n", n->id, n->telling, domain);
	if (n->telling > 1 || strcmp(n->id, n->thread) != 0)
		fprintf(out, "In-Reply-To: <%s.1@%s>\r\nReferences: <%s.1@%s>\r\n", n->thread,
			domain, n->thread, domain);
}

static void put_to(FILE *out, const char *to)
{
	const char *between = "";

	fputs("To: ", out);
	for (to += strspn(to, " "); *to != '\0'; to += strspn(to, " ")) {
		const size_t length = strcspn(to, " ");

		fprintf(out, "%s%.*s", between, (int)length, to);
		between = ",\r\n ";
		to += length;
	}
	fputs("\r\n", out);
}

/* -- the body ---------------------------------------------------------------------------------- */

static bool fits_as_it_is(const char *text)
{
	size_t column = 0;

	for (const char *p = text; *p != '\0'; p++) {
		column = *p == '\n' ? 0 : column + 1;
		if (column > LINE_MAX_CHARS || (*p != '\n' && (*p < ' ' || *p > '~')))
			return false;
	}
	return true;
}

static void put_as_it_is(FILE *out, const char *text)
{
	for (; *text != '\0'; text++)
		if (*text == '\n')
			fputs("\r\n", out);
		else
			fputc(*text, out);
}

static bool must_quote(const char *p)
{
	return *p == '=' || *p < ' ' || *p > '~' || (*p == ' ' && (p[1] == '\n' || p[1] == '\0'));
}

static void put_quoted(FILE *out, const char *text)
{
	size_t column = 0;

	for (const char *p = text; *p != '\0'; p++) {
		const size_t width = must_quote(p) ? 3 : 1;

		if (*p == '\n') {
			fputs("\r\n", out);
			column = 0;
			continue;
		}
		if (column + width > LINE_MAX_CHARS - 1) {
			fputs("=\r\n", out);
			column = 0;
		}
		if (width == 3)
			fprintf(out, "=%02X", (unsigned char)*p);
		else
			fputc(*p, out);
		column += width;
	}
}

static void put_body(FILE *out, const char *text)
{
	const bool plain = fits_as_it_is(text);

	fprintf(out, "MIME-Version: 1.0\r\nContent-Type: text/plain; charset=utf-8\r\n"
		"Content-Transfer-Encoding: %s\r\n\r\n", plain ? "7bit" : "quoted-printable");
	if (plain)
		put_as_it_is(out, text);
	else
		put_quoted(out, text);
	fputs("\r\n", out);
}

/* -- all of it --------------------------------------------------------------------------------- */

char *pw_mail_text(const struct pw_news *n, const char *from, const char *to, int64_t now_ms)
{
	char *mail = NULL, *text;
	size_t length;
	FILE *out;

	if (asprintf(&text, "%s\n\n%s", n->words, n->next) < 0)
		return NULL;
	out = open_memstream(&mail, &length);
	if (out == NULL) {
		free(text);
		return NULL;
	}
	put_date(out, now_ms);
	put_ids(out, n, from);
	fprintf(out, "From: Postwalk office <%s>\r\n", from);
	put_to(out, to);
	put_subject(out, n);
	fprintf(out, "Auto-Submitted: auto-generated\r\n%s",
		n->urgent ? "Importance: high\r\n" : ""); /* RFC 3834; RFC 2156 */
	put_body(out, text);
	free(text);
	if (fclose(out) == 0)
		return mail;
	free(mail);
	return NULL;
}
