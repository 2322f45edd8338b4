/* SPDX-License-Identifier: Apache-2.0 */
/* Which buses a pack is about: those that were asked for; else all that enrolled, and all that have rows. */
#include <stdlib.h>
#include <string.h>

#include "pack_internal.h"
#include "postwalk/text.h"

#define SOME 500

struct asking {
	struct pw_pack *p;
	char after[PW_NAME_MAX];
	const char *code;
	unsigned got;
	bool found;
};

static int add_bus(struct pw_pack *p, const char *bus)
{
	struct pw_pack_bus *b = pw_pack_add(&p->buses, sizeof(*b), 0);

	if (!b)
		return -1;
	snprintf(b->bus, sizeof(b->bus), "%.31s", bus);
	return 0;
}

static int take_heard(void *ctx, const struct pw_bus_row *row, const int32_t *day, size_t days)
{
	struct asking *a = ctx;

	(void)day;
	(void)days;
	a->got++;
	memcpy(a->after, row->bus, sizeof(a->after));
	return add_bus(a->p, row->bus);
}

static int work_heard(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct asking *a = ctx;

	return pw_store_heard_some(s, a->after, SOME, a->p->order->to, take_heard, a, why, size);
}

/* Of a bus that never came in, too: its runs have no record. Each once a month. */
static int take_tally(void *ctx, const struct pw_tally *t)
{
	struct asking *a = ctx;

	if (a->code) {
		a->found = true;
		return 0;
	}
	return add_bus(a->p, t->name);
}

static int work_tallies(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct asking *a = ctx;
	const struct pw_pack_order *o = a->p->order;

	return pw_audit_tallies(s, PW_BY_BUS, a->code, pw_span_month(o->from), pw_span_month(o->to),
				take_tally, a, why, size);
}

static int work_one(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct asking *a = ctx;
	struct pw_bus_row row;
	const int there = pw_store_bus(s, a->code, &row, why, size);

	if (there < 0)
		return there;
	a->found = there == 1;
	return a->found ? 0 : work_tallies(s, ctx, why, size);
}

static int by_code(const void *a, const void *b)
{
	return strcmp(((const struct pw_pack_bus *)a)->bus, ((const struct pw_pack_bus *)b)->bus);
}

static void sort(struct pw_pack *p)
{
	size_t kept = 0;

	if (p->buses.count)
		qsort(p->buses.item, p->buses.count, sizeof(struct pw_pack_bus), by_code);
	for (size_t i = 0; i < p->buses.count; i++)
		if (kept == 0 || by_code(pw_pack_bus_at(p, i), pw_pack_bus_at(p, kept - 1)) != 0)
			*pw_pack_bus_at(p, kept++) = *pw_pack_bus_at(p, i);
	p->buses.count = kept;
}

static int find_all(struct pw_pack *p)
{
	struct asking a = { .p = p };
	int result;

	do {
		a.got = 0;
		result = pw_pack_desk(p, work_heard, &a);
	} while (result == 0 && a.got == SOME);
	return result ? result : pw_pack_desk(p, work_tallies, &a);
}

static int find_asked(struct pw_pack *p)
{
	char code[PW_NAME_MAX];

	for (const char *at = p->order->buses; *(at += strspn(at, " ")) != '\0'; at += strcspn(at, " ")) {
		struct asking a = { .p = p, .code = code };
		const size_t length = strcspn(at, " ");
		int result;

		snprintf(code, sizeof(code), "%.*s", (int)length, at);
		if (length < sizeof(code) && pw_chain_word(code)) {
			result = pw_pack_desk(p, work_one, &a);
			if (result)
				return result;
		}
		if (!a.found) {
			snprintf(p->why, sizeof(p->why), "%s", code);
			return 1;
		}
		if (add_bus(p, code))
			return pw_pack_broke(p, "a list of buses");
	}
	return 0;
}

int pw_pack_find_buses(struct pw_pack *p)
{
	const int result = p->order->buses[strspn(p->order->buses, " ")] ? find_asked(p) : find_all(p);

	sort(p);
	return result;
}
