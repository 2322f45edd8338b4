/* SPDX-License-Identifier: Apache-2.0 */
/* Values on their way into a store and out of it. */
#include <sodium.h>
#include <stdio.h>
#include <string.h>

#include "store_internal.h"

struct pw_cell pw_cell_number(int64_t number)
{
	return (struct pw_cell){ .kind = PW_CELL_NUMBER, .number = number };
}

struct pw_cell pw_cell_time(int64_t ms)
{
	return ms == PW_NO_TIME ? (struct pw_cell){ 0 } : pw_cell_number(ms);
}

struct pw_cell pw_cell_text(const char *text)
{
	return (struct pw_cell){ .kind = PW_CELL_TEXT, .bytes = text, .length = strlen(text) };
}

struct pw_cell pw_cell_bytes(const void *bytes, size_t length)
{
	return (struct pw_cell){ .kind = PW_CELL_BYTES, .bytes = bytes, .length = length };
}

struct pw_cell pw_cell_hex(const char *hex)
{
	return (struct pw_cell){ .kind = PW_CELL_HEX, .bytes = hex, .length = strlen(hex) };
}

static int digit(char c)
{
	if (c >= '0' && c <= '9')
		return c - '0';
	return c >= 'a' && c <= 'f' ? c - 'a' + 10 : -1;
}

int pw_cell_unhex(const struct pw_cell *cell, unsigned char bytes[PW_CELL_HEX_MAX])
{
	const char *hex = cell->bytes;
	size_t count = cell->length / 2;

	if (cell->length % 2 != 0 || count > PW_CELL_HEX_MAX)
		return -1;
	for (size_t i = 0; i < count; i++) {
		int high = digit(hex[2 * i]), low = digit(hex[2 * i + 1]);

		if (high < 0 || low < 0)
			return -1;
		bytes[i] = (unsigned char)(high << 4 | low);
	}
	return (int)count;
}

int pw_cell_no_hex(const struct pw_cell *cell, char *why, size_t size)
{
	snprintf(why, size, "hex digits were expected, not \"%.80s\"", (const char *)cell->bytes);
	return -2;
}

void pw_cell_get_text(const struct pw_cell *cell, char *text, size_t size)
{
	size_t length = cell->length < size ? cell->length : size - 1;

	if (cell->kind == PW_CELL_NONE)
		length = 0;
	else
		memcpy(text, cell->bytes, length);
	text[length] = '\0';
}

void pw_cell_get_hex(const struct pw_cell *cell, char *hex, size_t size)
{
	size_t count = cell->kind == PW_CELL_NONE ? 0 : cell->length;

	if (2 * count >= size)
		count = (size - 1) / 2;
	sodium_bin2hex(hex, size, cell->bytes, count);
}

int64_t pw_cell_get_time(const struct pw_cell *cell)
{
	return cell->kind == PW_CELL_NONE ? PW_NO_TIME : cell->number;
}

/* RFC 3629, 4: how many bytes follow a first one, and which the second may be. */
static size_t sequence(unsigned char first, unsigned char *least, unsigned char *most)
{
	*least = first == 0xe0 ? 0xa0 : first == 0xf0 ? 0x90 : 0x80;
	*most = first == 0xed ? 0x9f : first == 0xf4 ? 0x8f : 0xbf;
	if (first < 0x80)
		return 0;
	if (first < 0xc2 || first > 0xf4)
		return SIZE_MAX;
	return first < 0xe0 ? 1 : first < 0xf0 ? 2 : 3;
}

bool pw_is_utf8(const char *text)
{
	const unsigned char *at = (const unsigned char *)text;

	while (*at != '\0') {
		unsigned char least, most;
		size_t more = sequence(*at++, &least, &most);

		if (more == SIZE_MAX || (more > 0 && (*at < least || *at > most)))
			return false;
		for (size_t i = 0; i < more; i++, at++)
			if (*at < 0x80 || *at > 0xbf)
				return false;
	}
	return true;
}

void pw_findings_text(uint32_t findings, char text[PW_FINDINGS_TEXT_MAX])
{
	char *end = text;

	*end = '\0';
	for (unsigned i = 0; i < PW_FINDINGS; i++) {
		if ((findings & 1u << i) == 0)
			continue;
		if (end > text)
			end = stpcpy(end, " ");
		end = stpcpy(end, pw_finding_name((enum pw_finding)i));
	}
}

uint32_t pw_findings_read(const char *text)
{
	uint32_t findings = 0;

	for (size_t length; *(text += strspn(text, " ")) != '\0'; text += length) {
		length = strcspn(text, " ");
		for (unsigned i = 0; i < PW_FINDINGS; i++) {
			const char *name = pw_finding_name((enum pw_finding)i);

			if (strlen(name) == length && strncmp(name, text, length) == 0)
				findings |= 1u << i;
		}
	}
	return findings;
}
