/* SPDX-License-Identifier: Apache-2.0 */
/* What the digest asks for: sweeps of a time, what stands now; and the figures. */
#include <string.h>

#include "store_internal.h"

static enum pw_verdict find_verdict(const struct pw_cell *cell)
{
	char name[16];

	pw_cell_get_text(cell, name, sizeof(name));
	for (enum pw_verdict v = PW_DONE; v <= PW_MISSED; v++)
		if (strcmp(pw_verdict_name(v), name) == 0)
			return v;
	return 0;
}

/* -- sweeps ------------------------------------------------------------------------------------ */

/* Sweeps come in pages; the last one of a page says where the next begins. */
struct sweeps {
	int (*take)(void *ctx, const char *bus, const struct pw_sweep_row *row);
	void *ctx;
	bool came;
	struct last { char bus[PW_NAME_MAX], epoch[17]; int64_t moment_ms, branch, seq; } last;
	size_t given;
};

static int give_sweep(void *ctx, const struct pw_cell *cells)
{
	struct sweeps *all = ctx;
	struct pw_sweep_row row = {
		.seq = (uint64_t)cells[3].number, .closed_ms = pw_cell_get_time(&cells[4]),
		.key_off_ms = pw_cell_get_time(&cells[5]), .walk_ms = pw_cell_get_time(&cells[6]),
		.return_ms = pw_cell_get_time(&cells[7]), .late_ms = pw_cell_get_time(&cells[8]),
		.came_ms = cells[9].number, .wall_ok = cells[10].number != 0,
		.findings = pw_findings_read(cells[11].bytes),
		.refused = (uint32_t)cells[12].number, .verdict = find_verdict(&cells[13]),
	};

	pw_cell_get_text(&cells[14], row.rung, sizeof(row.rung));
	all->last = (struct last){ .moment_ms = all->came ? row.came_ms : row.closed_ms,
				   .branch = cells[2].number, .seq = cells[3].number };
	pw_cell_get_text(&cells[0], all->last.bus, sizeof(all->last.bus));
	pw_cell_get_hex(&cells[1], all->last.epoch, sizeof(all->last.epoch));
	all->given++;
	return all->take(all->ctx, all->last.bus, &row);
}

static int read_sweeps(struct pw_store *s, enum pw_question q, struct sweeps *all, int64_t to_ms,
		       char *why, size_t size)
{
	int result;

	do {
		const struct last last = all->last;
		const struct pw_cell args[] = {
			pw_cell_number(last.moment_ms), pw_cell_number(to_ms),
			pw_cell_text(last.bus), pw_cell_hex(last.epoch),
			pw_cell_number(last.branch), pw_cell_number(last.seq),
		};

		all->given = 0;
		result = pw_store_ask(s, q, args, give_sweep, all, why, size);
	} while (result == 0 && all->given > 0);
	return result;
}

int pw_store_sweeps(struct pw_store *s, int64_t from_ms, int64_t to_ms, bool bad,
		    int (*take)(void *ctx, const char *bus, const struct pw_sweep_row *row),
		    void *ctx, char *why, size_t size)
{
	struct sweeps all = { .take = take, .ctx = ctx, .last.moment_ms = from_ms };

	return read_sweeps(s, bad ? PW_Q_SWEEPS_BAD : PW_Q_SWEEPS, &all, to_ms, why, size);
}

int pw_store_sweeps_came(struct pw_store *s, int64_t from_ms, int64_t to_ms, bool bad,
			 int (*take)(void *ctx, const char *bus, const struct pw_sweep_row *row),
			 void *ctx, char *why, size_t size)
{
	struct sweeps all = { .take = take, .ctx = ctx, .last.moment_ms = from_ms, .came = true };

	return read_sweeps(s, bad ? PW_Q_SWEEPS_CAME_BAD : PW_Q_SWEEPS_CAME, &all, to_ms, why,
			   size);
}

/* -- what stands ------------------------------------------------------------------------------- */

struct standings {
	int (*take)(void *ctx, const char *bus, const struct pw_standing *row);
	void *ctx;
};

static int give_standing(void *ctx, const struct pw_cell *cells)
{
	const struct standings *all = ctx;
	struct pw_standing row = { .on = cells[2].number != 0, .seq = (uint64_t)cells[3].number,
				   .since_ms = pw_cell_get_time(&cells[4]) };
	char bus[PW_NAME_MAX];

	pw_cell_get_text(&cells[0], bus, sizeof(bus));
	pw_cell_get_text(&cells[1], row.name, sizeof(row.name));
	pw_cell_get_text(&cells[5], row.words, sizeof(row.words));
	return all->take(all->ctx, bus, &row);
}

int pw_store_standings(struct pw_store *s,
		       int (*take)(void *ctx, const char *bus, const struct pw_standing *row),
		       void *ctx, char *why, size_t size)
{
	struct standings all = { .take = take, .ctx = ctx };

	return pw_store_ask(s, PW_Q_STANDINGS, NULL, give_standing, &all, why, size);
}

/* -- figures ----------------------------------------------------------------------------------- */

static int get_figures(void *ctx, const struct pw_cell *cells)
{
	struct pw_figures *f = ctx;
	uint64_t *const figure[] = { &f->buses, &f->branches, &f->records, &f->seals, &f->sweeps,
				     &f->missed, &f->doubtful, &f->matters, &f->open };

	for (size_t i = 0; i < sizeof(figure) / sizeof(figure[0]); i++)
		*figure[i] = (uint64_t)cells[i].number;
	return 0;
}

int pw_store_figures(struct pw_store *s, struct pw_figures *f, char *why, size_t size)
{
	return pw_store_ask(s, PW_Q_FIGURES, NULL, get_figures, f, why, size);
}
