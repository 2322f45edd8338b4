/* SPDX-License-Identifier: Apache-2.0 */
/* Buses, their keys and tokens, the codes that enrol them, and when each was heard of. */
#include <stdio.h>
#include <string.h>

#include "store_internal.h"

#define DAYS_MAX 64

static void get_key(const struct pw_cell *cell, struct pw_public_key *key)
{
	if (cell->length == sizeof(key->bytes))
		memcpy(key->bytes, cell->bytes, sizeof(key->bytes));
}

static struct pw_cell key_cell(bool has, const struct pw_public_key *key)
{
	return has ? pw_cell_bytes(key->bytes, sizeof(key->bytes)) : (struct pw_cell){ 0 };
}

/* -- buses ------------------------------------------------------------------------------------- */

static int get_bus(void *ctx, const struct pw_cell *cells)
{
	struct pw_bus_row *row = ctx;

	*row = (struct pw_bus_row){ .has_key = cells[1].kind != PW_CELL_NONE,
				    .enrolled_ms = cells[3].number, .heard_ms = cells[4].number };
	pw_cell_get_text(&cells[0], row->bus, sizeof(row->bus));
	get_key(&cells[1], &row->key);
	pw_cell_get_hex(&cells[2], row->token, sizeof(row->token));
	return 0;
}

int pw_store_bus(struct pw_store *s, const char *bus, struct pw_bus_row *row, char *why,
		 size_t size)
{
	const struct pw_cell args[] = { pw_cell_text(bus) };

	return pw_store_ask_one(s, PW_Q_BUS, args, get_bus, row, why, size);
}

int pw_store_bus_put(struct pw_store *s, const struct pw_bus_row *row, char *why, size_t size)
{
	const struct pw_cell args[] = {
		pw_cell_text(row->bus), key_cell(row->has_key, &row->key), pw_cell_hex(row->token),
		pw_cell_number(row->enrolled_ms), pw_cell_number(row->heard_ms),
	};

	return pw_store_ask(s, PW_Q_BUS_PUT, args, NULL, NULL, why, size);
}

int pw_store_bus_heard(struct pw_store *s, const char *bus, int64_t now_ms, int32_t day, char *why,
		       size_t size)
{
	const struct pw_cell heard[] = { pw_cell_number(now_ms), pw_cell_text(bus) };
	const struct pw_cell on[] = { pw_cell_text(bus), pw_cell_number(day) };
	int result = pw_store_change(s, PW_Q_BUS_HEARD, heard, why, size);

	if (result == 0) {
		snprintf(why, size, "there is no bus %s", bus);
		return -2;
	}
	return result < 0 ? result : pw_store_ask(s, PW_Q_BUS_DAY, on, NULL, NULL, why, size);
}

/* Rows of one bus follow each other; one is given when the next begins. */
struct heard {
	int (*take)(void *ctx, const struct pw_bus_row *row, const int32_t *day, size_t days);
	void *ctx;
	struct pw_bus_row row;
	int32_t day[DAYS_MAX];
	size_t days;
};

static int give_heard(struct heard *h)
{
	return h->row.bus[0] != '\0' ? h->take(h->ctx, &h->row, h->day, h->days) : 0;
}

static int get_heard(void *ctx, const struct pw_cell *cells)
{
	struct heard *h = ctx;
	struct pw_bus_row row;
	int result = 0;

	get_bus(&row, cells);
	if (strcmp(row.bus, h->row.bus) != 0) {
		result = give_heard(h);
		h->row = row;
		h->days = 0;
	}
	if (cells[5].kind != PW_CELL_NONE && h->days < DAYS_MAX)
		h->day[h->days++] = (int32_t)cells[5].number;
	return result;
}

int pw_store_heard(struct pw_store *s,
		   int (*take)(void *ctx, const struct pw_bus_row *row, const int32_t *day,
			       size_t days),
		   void *ctx, char *why, size_t size)
{
	struct heard h = { .take = take, .ctx = ctx };
	int result = pw_store_ask(s, PW_Q_HEARD, NULL, get_heard, &h, why, size);

	return result != 0 ? result : give_heard(&h);
}

int pw_store_heard_some(struct pw_store *s, const char *after, unsigned limit, int32_t from,
			int (*take)(void *ctx, const struct pw_bus_row *row, const int32_t *day,
				    size_t days),
			void *ctx, char *why, size_t size)
{
	const struct pw_cell args[] = { pw_cell_text(after), pw_cell_number(limit),
					pw_cell_number(from) };
	struct heard h = { .take = take, .ctx = ctx };
	int result = pw_store_ask(s, PW_Q_HEARD_SOME, args, get_heard, &h, why, size);

	return result != 0 ? result : give_heard(&h);
}

struct since {
	int (*take)(void *ctx, const char *bus, int64_t heard_ms);
	void *ctx;
};

static int get_since(void *ctx, const struct pw_cell *cells)
{
	const struct since *h = ctx;
	char bus[PW_NAME_MAX];

	pw_cell_get_text(&cells[0], bus, sizeof(bus));
	return h->take(h->ctx, bus, cells[1].number);
}

int pw_store_heard_since(struct pw_store *s, int64_t since_ms,
			 int (*take)(void *ctx, const char *bus, int64_t heard_ms), void *ctx,
			 char *why, size_t size)
{
	const struct pw_cell args[] = { pw_cell_number(since_ms) };
	struct since h = { .take = take, .ctx = ctx };

	return pw_store_ask(s, PW_Q_HEARD_SINCE, args, get_since, &h, why, size);
}

/* -- codes ------------------------------------------------------------------------------------- */

int pw_store_code_put(struct pw_store *s, const char *bus, const char *hash, int64_t ends_ms,
		      char *why, size_t size)
{
	const struct pw_cell args[] = { pw_cell_text(bus), pw_cell_hex(hash),
					pw_cell_number(ends_ms) };

	return pw_store_ask(s, PW_Q_CODE_PUT, args, NULL, NULL, why, size);
}

int pw_store_code_take(struct pw_store *s, const char *bus, const char *hash, int64_t now_ms,
		       char *why, size_t size)
{
	const struct pw_cell args[] = { pw_cell_number(now_ms), pw_cell_text(bus),
					pw_cell_hex(hash) };

	return pw_store_change(s, PW_Q_CODE_TAKE, args, why, size);
}

/* -- keys to be decided on --------------------------------------------------------------------- */

int pw_store_key_put(struct pw_store *s, const struct pw_key_row *row, char *why, size_t size)
{
	const struct pw_cell args[] = {
		pw_cell_text(row->bus), key_cell(true, &row->key), pw_cell_hex(row->token),
		pw_cell_number(row->asked_ms), pw_cell_number(row->decided_ms),
		pw_cell_number(row->accepted), pw_cell_text(row->who), pw_cell_text(row->words),
	};

	return pw_store_ask(s, PW_Q_KEY_PUT, args, NULL, NULL, why, size);
}

struct keys {
	int (*take)(void *ctx, const struct pw_key_row *row);
	void *ctx;
};

static int get_asked(void *ctx, const struct pw_cell *cells)
{
	const struct keys *k = ctx;
	struct pw_key_row row = { .asked_ms = cells[3].number, .decided_ms = cells[4].number,
				  .accepted = cells[5].number != 0 };

	pw_cell_get_text(&cells[0], row.bus, sizeof(row.bus));
	get_key(&cells[1], &row.key);
	pw_cell_get_hex(&cells[2], row.token, sizeof(row.token));
	pw_cell_get_text(&cells[6], row.who, sizeof(row.who));
	pw_cell_get_text(&cells[7], row.words, sizeof(row.words));
	return k->take(k->ctx, &row);
}

int pw_store_keys(struct pw_store *s, bool waiting,
		  int (*take)(void *ctx, const struct pw_key_row *row), void *ctx, char *why,
		  size_t size)
{
	struct keys k = { .take = take, .ctx = ctx };

	return pw_store_ask(s, waiting ? PW_Q_KEYS_WAITING : PW_Q_KEYS, NULL, get_asked, &k, why,
			    size);
}
