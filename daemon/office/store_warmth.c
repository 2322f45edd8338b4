/* SPDX-License-Identifier: Apache-2.0 */
/* Temperatures of a bus's cabin, or of outside, with where each is from. */
#include "rows_internal.h"

int pw_audit_warmth(struct pw_store *s, const char *bus, int64_t at_ms, int32_t c10,
		    const char *source, char *why, size_t size)
{
	const struct pw_cell args[] = { pw_cell_text(bus), pw_cell_number(at_ms),
					pw_cell_number(c10), pw_cell_text(source) };

	int result = pw_store_ask(s, PW_Q_WARMTH_PUT, args, NULL, NULL, why, size);

	return result < 0 ? result : pw_rows_warmed(s, bus, at_ms, why, size);
}

struct warmths {
	int (*take)(void *ctx, int64_t at_ms, int32_t c10, const char *source);
	void *ctx;
};

static int give_warmth(void *ctx, const struct pw_cell *cells)
{
	const struct warmths *all = ctx;

	return all->take(all->ctx, cells[0].number, (int32_t)cells[1].number, cells[2].bytes);
}

int pw_audit_warmths(struct pw_store *s, const char *bus, int64_t from_ms, int64_t to_ms,
		     int (*take)(void *ctx, int64_t at_ms, int32_t c10, const char *source),
		     void *ctx, char *why, size_t size)
{
	struct warmths all = { .take = take, .ctx = ctx };
	const struct pw_cell args[] = { pw_cell_text(bus), pw_cell_number(from_ms),
					pw_cell_number(to_ms) };

	return pw_store_ask(s, PW_Q_WARMTHS, args, give_warmth, &all, why, size);
}
