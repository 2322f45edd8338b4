/* SPDX-License-Identifier: Apache-2.0 */
/* Planned runs, where they came from, and what a hand has corrected. */
#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "rows_internal.h"
#include "zone.h"

#define LONGEST_MS (16 * INT64_C(3600000)) /* as a run sheet may have it */

int pw_rows_dirty(struct pw_store *s, const char *bus, int32_t days, char *why, size_t size)
{
	const struct pw_cell args[] = { pw_cell_text(bus), pw_cell_number(days) };

	return pw_store_ask(s, PW_Q_DIRTY, args, NULL, NULL, why, size);
}

/* -- imports ----------------------------------------------------------------------------------- */

static int get_id(void *ctx, const struct pw_cell *cells)
{
	*(uint64_t *)ctx = (uint64_t)cells[0].number;
	return 0;
}

int pw_audit_import(struct pw_store *s, struct pw_import *import, char *why, size_t size)
{
	const struct pw_cell args[] = {
		pw_cell_number(import->at_ms), pw_cell_text(import->who),
		pw_cell_text(import->file), pw_cell_hex(import->hash),
		pw_cell_number(import->taken), pw_cell_number(import->refused),
	};

	return pw_store_ask(s, PW_Q_IMPORT, args, get_id, &import->id, why, size);
}

struct imports {
	int (*take)(void *ctx, const struct pw_import *import);
	void *ctx;
};

static int give_import(void *ctx, const struct pw_cell *cells)
{
	const struct imports *all = ctx;
	struct pw_import i = { .id = (uint64_t)cells[0].number, .at_ms = cells[1].number,
			       .taken = (uint32_t)cells[5].number,
			       .refused = (uint32_t)cells[6].number };

	pw_cell_get_text(&cells[2], i.who, sizeof(i.who));
	pw_cell_get_text(&cells[3], i.file, sizeof(i.file));
	pw_cell_get_hex(&cells[4], i.hash, sizeof(i.hash));
	return all->take(all->ctx, &i);
}

int pw_audit_imports(struct pw_store *s, int (*take)(void *ctx, const struct pw_import *import),
		     void *ctx, char *why, size_t size)
{
	struct imports all = { .take = take, .ctx = ctx };

	return pw_store_ask(s, PW_Q_IMPORTS, NULL, give_import, &all, why, size);
}

/* -- planned runs ------------------------------------------------------------------------------ */

int pw_audit_plan(struct pw_store *s, const struct pw_plan *p, char *why, size_t size)
{
	const struct pw_cell args[] = {
		pw_cell_text(p->bus), pw_cell_number(p->day), pw_cell_text(p->run),
		pw_cell_text(p->route), pw_cell_text(p->place), pw_cell_text(p->driver),
		pw_cell_number(p->begin_ms), pw_cell_number(p->end_ms),
		pw_cell_number((int64_t)p->import),
	};
	int result;

	if (p->bus[0] == '\0' || p->run[0] == '\0' || !pw_date_ok(p->day)
	    || p->end_ms < p->begin_ms || p->end_ms - p->begin_ms > LONGEST_MS) {
		snprintf(why, size, "a planned run needs a bus, a day, an id, and an end that is "
			 "not before its begin and at most 16 h after it");
		return -2;
	}
	result = pw_store_ask(s, PW_Q_PLAN_PUT, args, NULL, NULL, why, size);
	return result < 0 ? result : pw_rows_dirty(s, p->bus, pw_date_days(p->day), why, size);
}

void pw_plan_get(const struct pw_cell *cells, struct pw_plan *p)
{
	*p = (struct pw_plan){ .day = (int32_t)cells[1].number, .begin_ms = cells[6].number,
			       .end_ms = cells[7].number, .import = (uint64_t)cells[8].number };
	pw_cell_get_text(&cells[0], p->bus, sizeof(p->bus));
	pw_cell_get_text(&cells[2], p->run, sizeof(p->run));
	pw_cell_get_text(&cells[3], p->route, sizeof(p->route));
	pw_cell_get_text(&cells[4], p->place, sizeof(p->place));
	pw_cell_get_text(&cells[5], p->driver, sizeof(p->driver));
}

/* -- corrections ------------------------------------------------------------------------------- */

int pw_audit_correct(struct pw_store *s, const struct pw_correction *c, char *why, size_t size)
{
	const bool run = c->key.run[0] != '\0';
	const struct pw_cell args[] = {
		pw_cell_text(c->key.bus), pw_cell_number(c->key.day), pw_cell_text(c->key.run),
		pw_cell_hex(run ? "" : c->key.epoch), pw_cell_number(run ? 0 : c->key.branch),
		pw_cell_number(run ? 0 : (int64_t)c->key.seq),
		pw_cell_text(pw_result_name(c->result)), pw_cell_number(c->at_ms),
		pw_cell_text(c->who), pw_cell_text(c->words),
	};
	struct pw_audit_row row;
	int result = pw_audit_row(s, &c->key, &row, why, size);

	if (result == 0) {
		snprintf(why, size, "bus %s has no such run or sweep on %" PRId32, c->key.bus,
			 c->key.day);
		return -2;
	}
	if (result < 0
	    || (result = pw_store_ask(s, PW_Q_CORRECT, args, NULL, NULL, why, size)) < 0)
		return result;
	return pw_rows_dirty(s, c->key.bus, pw_date_days(c->key.day), why, size);
}

void pw_correction_get(const struct pw_cell *cells, struct pw_correction *c)
{
	char name[PW_NAME_MAX];

	*c = (struct pw_correction){ .key = { .day = (int32_t)cells[1].number,
					      .branch = (uint32_t)cells[4].number,
					      .seq = (uint64_t)cells[5].number },
				     .at_ms = cells[7].number };
	pw_cell_get_text(&cells[0], c->key.bus, sizeof(c->key.bus));
	pw_cell_get_text(&cells[2], c->key.run, sizeof(c->key.run));
	pw_cell_get_hex(&cells[3], c->key.epoch, sizeof(c->key.epoch));
	pw_cell_get_text(&cells[6], name, sizeof(name));
	pw_cell_get_text(&cells[8], c->who, sizeof(c->who));
	pw_cell_get_text(&cells[9], c->words, sizeof(c->words));
	for (enum pw_result r = PW_RESULT_NONE; r < PW_RESULTS; r++)
		if (strcmp(pw_result_name(r), name) == 0)
			c->result = r;
}

struct corrections {
	int (*take)(void *ctx, const struct pw_correction *c);
	void *ctx;
	const struct pw_audit_key *of; /* NULL: of any */
};

static bool is_of(const struct pw_audit_key *a, const struct pw_audit_key *b)
{
	if (strcmp(a->run, b->run) != 0)
		return false;
	return a->run[0] != '\0'
	       || (strcmp(a->epoch, b->epoch) == 0 && a->branch == b->branch && a->seq == b->seq);
}

static int give_correction(void *ctx, const struct pw_cell *cells)
{
	const struct corrections *all = ctx;
	struct pw_correction c;

	pw_correction_get(cells, &c);
	return all->of == NULL || is_of(all->of, &c.key) ? all->take(all->ctx, &c) : 0;
}

int pw_audit_corrections(struct pw_store *s, const struct pw_audit_key *key,
			 int (*take)(void *ctx, const struct pw_correction *c), void *ctx,
			 char *why, size_t size)
{
	struct corrections all = { .take = take, .ctx = ctx, .of = key };

	if (key == NULL)
		return pw_store_ask(s, PW_Q_CORRECTIONS, NULL, give_correction, &all, why, size);

	const struct pw_cell args[] = { pw_cell_text(key->bus), pw_cell_number(key->day),
					pw_cell_number(key->day) };

	return pw_store_ask(s, PW_Q_CORRECTIONS_DAYS, args, give_correction, &all, why, size);
}
