/* SPDX-License-Identifier: Apache-2.0 */
/* Matters, who was told of them and who took them, and the office's log. */
#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "store_internal.h"

/* As the tables have them. */
static const char *const matter_name[PW_MATTERS] = {
	[PW_MATTER_NONE] = "none",
#define X(up, low) [PW_MATTER_##up] = #low,
	PW_MATTER_LIST(X)
#undef X
};

const char *pw_matter_name(enum pw_matter_kind kind)
{
	return matter_name[kind < PW_MATTERS ? kind : PW_MATTER_NONE];
}

static enum pw_matter_kind find_matter(const struct pw_cell *cell)
{
	char name[16];

	pw_cell_get_text(cell, name, sizeof(name));
	for (enum pw_matter_kind k = PW_MATTER_NONE + 1; k < PW_MATTERS; k++)
		if (strcmp(matter_name[k], name) == 0)
			return k;
	return PW_MATTER_NONE;
}

/* -- matters ----------------------------------------------------------------------------------- */

static void get_matter(const struct pw_cell *cells, struct pw_matter *m)
{
	*m = (struct pw_matter){ .id = (uint64_t)cells[0].number, .kind = find_matter(&cells[1]),
				 .branch = (uint32_t)cells[4].number,
				 .seq = (uint64_t)cells[5].number,
				 .at_ms = cells[7].number, .came_ms = cells[8].number,
				 .taken_ms = cells[10].number };
	pw_cell_get_text(&cells[2], m->bus, sizeof(m->bus));
	pw_cell_get_hex(&cells[3], m->epoch, sizeof(m->epoch));
	pw_cell_get_hex(&cells[6], m->hash, sizeof(m->hash));
	pw_cell_get_text(&cells[9], m->words, sizeof(m->words));
	pw_cell_get_text(&cells[11], m->taken_by, sizeof(m->taken_by));
	pw_cell_get_text(&cells[12], m->taken_words, sizeof(m->taken_words));
}

static int get_id(void *ctx, const struct pw_cell *cells)
{
	*(uint64_t *)ctx = (uint64_t)cells[0].number;
	return 0;
}

/* Looked for first: a number that is drawn and not used would be gone. */
int pw_store_matter_put(struct pw_store *s, struct pw_matter *m, char *why, size_t size)
{
	const struct pw_cell kind = pw_cell_text(pw_matter_name(m->kind));
	const struct pw_cell bus = pw_cell_text(m->bus);
	const struct pw_cell epoch = pw_cell_hex(m->epoch), seq = pw_cell_number((int64_t)m->seq);
	const struct pw_cell hash = pw_cell_hex(m->hash);
	const struct pw_cell find[] = { kind, bus, epoch, seq, hash };
	const struct pw_cell put[] = { kind, bus, epoch, pw_cell_number(m->branch), seq, hash,
				       pw_cell_number(m->at_ms), pw_cell_number(m->came_ms),
				       pw_cell_text(m->words) };
	int result = pw_store_ask_one(s, PW_Q_MATTER_FIND, find, get_id, &m->id, why, size);

	if (result != 0)
		return result < 0 ? result : 0;
	return pw_store_ask_one(s, PW_Q_MATTER_PUT, put, get_id, &m->id, why, size);
}

struct matters {
	int (*take)(void *ctx, const struct pw_matter *m);
	void *ctx;
};

static int give_matter(void *ctx, const struct pw_cell *cells)
{
	const struct matters *all = ctx;
	struct pw_matter m;

	get_matter(cells, &m);
	return all->take(all->ctx, &m);
}

int pw_store_matters(struct pw_store *s, bool taken, uint64_t after,
		     int (*take)(void *ctx, const struct pw_matter *m),
		     void *ctx, char *why, size_t size)
{
	struct matters all = { .take = take, .ctx = ctx };
	const struct pw_cell args[] = { pw_cell_number((int64_t)after) };

	return pw_store_ask(s, taken ? PW_Q_MATTERS : PW_Q_MATTERS_OPEN, args, give_matter, &all,
			    why, size);
}

static int copy_matter(void *ctx, const struct pw_cell *cells)
{
	get_matter(cells, ctx);
	return 0;
}

int pw_store_matter(struct pw_store *s, uint64_t id, struct pw_matter *m, char *why, size_t size)
{
	const struct pw_cell number = pw_cell_number((int64_t)id);

	*m = (struct pw_matter){ 0 };
	return pw_store_ask_one(s, PW_Q_MATTER, &number, copy_matter, m, why, size);
}

int pw_store_matter_take(struct pw_store *s, uint64_t id, const char *who, const char *words,
			 int64_t now_ms, struct pw_matter *m, char *why, size_t size)
{
	const struct pw_cell number = pw_cell_number((int64_t)id);
	const struct pw_cell args[] = { pw_cell_number(now_ms), pw_cell_text(who),
					pw_cell_text(words), number };
	int taken = pw_store_change(s, PW_Q_MATTER_TAKE, args, why, size), found;

	*m = (struct pw_matter){ 0 };
	if (taken < 0)
		return taken;
	found = pw_store_ask_one(s, PW_Q_MATTER, &number, copy_matter, m, why, size);
	return found < 0 ? found : taken;
}

/* -- tellings ---------------------------------------------------------------------------------- */

static void get_telling(const struct pw_cell *cells, struct pw_telling *t)
{
	*t = (struct pw_telling){ .matter = (uint64_t)cells[0].number,
				  .day = (int32_t)cells[1].number,
				  .tries = (uint32_t)cells[3].number,
				  .told = (uint32_t)cells[4].number,
				  .next_ms = cells[5].number, .told_ms = cells[6].number };
	pw_cell_get_text(&cells[2], t->way, sizeof(t->way));
	pw_cell_get_text(&cells[7], t->why, sizeof(t->why));
}

static int copy_telling(void *ctx, const struct pw_cell *cells)
{
	get_telling(cells, ctx);
	return 0;
}

int pw_store_telling_put(struct pw_store *s, const struct pw_telling *t, char *why, size_t size)
{
	const struct pw_cell args[] = {
		pw_cell_number((int64_t)t->matter), pw_cell_number(t->day), pw_cell_text(t->way),
		pw_cell_number(t->tries), pw_cell_number(t->told), pw_cell_number(t->next_ms),
		pw_cell_number(t->told_ms), pw_cell_text(t->why),
	};

	return pw_store_ask(s, PW_Q_TELLING_PUT, args, NULL, NULL, why, size);
}

int pw_store_telling(struct pw_store *s, uint64_t matter, int32_t day, const char *way,
		     struct pw_telling *t, char *why, size_t size)
{
	const struct pw_cell args[] = { pw_cell_number((int64_t)matter), pw_cell_number(day),
					pw_cell_text(way) };

	return pw_store_ask_one(s, PW_Q_TELLING, args, copy_telling, t, why, size);
}

struct tellings {
	int (*take)(void *ctx, const struct pw_telling *t);
	void *ctx;
};

static int give_telling(void *ctx, const struct pw_cell *cells)
{
	const struct tellings *all = ctx;
	struct pw_telling t;

	get_telling(cells, &t);
	return all->take(all->ctx, &t);
}

int pw_store_tellings(struct pw_store *s, int64_t due_ms,
		      int (*take)(void *ctx, const struct pw_telling *t), void *ctx,
		      char *why, size_t size)
{
	struct tellings all = { .take = take, .ctx = ctx };
	const struct pw_cell args[] = { pw_cell_number(due_ms) };

	return pw_store_ask(s, PW_Q_TELLINGS, args, give_telling, &all, why, size);
}

/* -- the log ----------------------------------------------------------------------------------- */

int pw_store_log(struct pw_store *s, int64_t now_ms, const char *who, const char *did, char *why,
		 size_t size)
{
	const struct pw_cell args[] = { pw_cell_number(now_ms), pw_cell_text(who),
					pw_cell_text(did) };

	return pw_store_ask(s, PW_Q_LOG, args, NULL, NULL, why, size);
}

struct logs {
	int (*take)(void *ctx, int64_t at_ms, const char *who, const char *did);
	void *ctx;
};

static int give_log(void *ctx, const struct pw_cell *cells)
{
	const struct logs *all = ctx;

	return all->take(all->ctx, cells[0].number, cells[1].bytes, cells[2].bytes);
}

int pw_store_logs(struct pw_store *s, int64_t from_ms,
		  int (*take)(void *ctx, int64_t at_ms, const char *who, const char *did),
		  void *ctx, char *why, size_t size)
{
	struct logs all = { .take = take, .ctx = ctx };
	const struct pw_cell args[] = { pw_cell_number(from_ms) };

	return pw_store_ask(s, PW_Q_LOGS, args, give_log, &all, why, size);
}

struct logs_back {
	int (*take)(void *ctx, uint64_t id, int64_t at_ms, const char *who, const char *did);
	void *ctx;
};

static int give_log_back(void *ctx, const struct pw_cell *cells)
{
	const struct logs_back *all = ctx;

	return all->take(all->ctx, (uint64_t)cells[0].number, cells[1].number, cells[2].bytes,
			 cells[3].bytes);
}

int pw_store_logs_back(struct pw_store *s, uint64_t before, unsigned limit,
		       int (*take)(void *ctx, uint64_t id, int64_t at_ms, const char *who,
				   const char *did),
		       void *ctx, char *why, size_t size)
{
	struct logs_back all = { .take = take, .ctx = ctx };
	const struct pw_cell args[] = {
		pw_cell_number(before > INT64_MAX ? INT64_MAX : (int64_t)before),
		pw_cell_number(limit),
	};

	return pw_store_ask(s, PW_Q_LOGS_BACK, args, give_log_back, &all, why, size);
}
