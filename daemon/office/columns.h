/* SPDX-License-Identifier: Apache-2.0 */
/* columns.h - rows of text for a terminal, each column as wide as its widest. */
#ifndef POSTWALK_OFFICE_COLUMNS_H
#define POSTWALK_OFFICE_COLUMNS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

/* cell: the text at a row (0: the heads) and column; it may stand in room, and lives until the next call.
 * right: a column of numbers (NULL: there is none). */
struct pw_columns {
	size_t columns, rows; /* the row of heads among them */
	const char *(*cell)(void *ctx, size_t row, size_t column, char room[24]);
	const bool *right;
	void *ctx;
};
#define PW_COLUMNS_MAX 64
void pw_columns_print(const struct pw_columns *c, FILE *out);

#endif
