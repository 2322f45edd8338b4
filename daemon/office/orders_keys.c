/* SPDX-License-Identifier: Apache-2.0 */
/* Who may speak as which bus: codes, and keys that a person decides about. */
#include <string.h>

#include "commands_internal.h"
#include "postwalk/text.h"

/* -- enrol ------------------------------------------------------------------------------------- */

struct codes {
	struct pw_order *order;
	int64_t now_ms, ends_ms;
	char code[PW_ORDER_ARGS][PW_CODE_MAX_TEXT];
};

static int work_enrol(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct codes *codes = ctx;
	const struct pw_order *c = codes->order;
	char hash[65], did[80];
	int result = 0;

	for (int i = 1; i < c->argc && result == 0; i++) {
		pw_code_hash(codes->code[i], hash);
		snprintf(did, sizeof(did), "made a code for bus %s", c->argv[i]);
		result = pw_store_code_put(s, c->argv[i], hash, codes->ends_ms, why, size);
		if (result == 0)
			result = pw_store_log(s, codes->now_ms, c->by ? c->by : "office", did, why,
					      size);
	}
	return result;
}

int pw_do_enrol(struct pw_order *c)
{
	static const char *const names[] = { "bus", "code", "good_until", NULL };
	struct codes codes = { .order = c, .now_ms = pw_office_now_ms() };
	struct pw_list *l;
	int status;

	codes.ends_ms = codes.now_ms + PW_CODE_DAYS * INT64_C(86400000);
	for (int i = 1; i < c->argc; i++) {
		if (!pw_chain_word(c->argv[i]) || strlen(c->argv[i]) >= PW_NAME_MAX)
			return pw_order_bad(
				c,
				"expected a bus to be 1 to 31 of A-Z a-z 0-9 . _ -, not "
				"\"%.40s\"",
				c->argv[i]);
		pw_code_draw(codes.code[i]);
	}
	status = pw_order_desk(c, work_enrol, &codes);
	l = status ? NULL : pw_list_new(names);
	if (!l)
		return status ? status : pw_order_not(c, "there is no memory for it");
	for (int i = 1; i < c->argc; i++)
		pw_list_row(l, json_pack("[s,s,o]", c->argv[i], codes.code[i],
					 pw_list_time(codes.ends_ms)));
	pw_list_print(l, c->json, c->out);
	return 0;
}

/* -- keys -------------------------------------------------------------------------------------- */

struct listing {
	struct pw_list *list;
	bool all;
};

static int list_key(void *ctx, const struct pw_key_row *row)
{
	struct listing *g = ctx;
	const char *is = row->decided_ms == 0 ? "waits" : row->accepted ? "accepted" : "refused";

	if (g->all)
		pw_list_row(g->list,
			    json_pack("[s,o,o,s,o,s,s]", row->bus, pw_list_key(&row->key),
				      pw_list_time(row->asked_ms), is,
				      pw_list_time(row->decided_ms), row->who, row->words));
	else
		pw_list_row(g->list, json_pack("[s,o,o]", row->bus, pw_list_key(&row->key),
			pw_list_time(row->asked_ms)));
	return 0;
}

static int work_keys(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct listing *g = ctx;

	return pw_store_keys(s, !g->all, list_key, g, why, size);
}

int pw_do_keys(struct pw_order *c)
{
	static const char *const waiting[] = { "bus", "key", "asked", NULL };
	static const char *const all[] = { "bus",     "key", "asked", "is",
					   "decided", "by",  "words", NULL };
	struct listing g = { .list = pw_list_new(c->all ? all : waiting), .all = c->all };
	int status = g.list ? pw_order_desk(c, work_keys, &g)
			    : pw_order_not(c, "there is no memory for it");

	if (g.list)
		pw_list_print(g.list, c->json, c->out);
	return status;
}

/* -- accept, refuse ---------------------------------------------------------------------------- */

struct deciding {
	struct pw_order *order;
	bool accept;
	struct pw_key_row row; /* the one that waits */
	int found;
	struct pw_bus_row bus;
	uint64_t matter;
};

static int find_waiting(void *ctx, const struct pw_key_row *row)
{
	struct deciding *d = ctx;
	const char *key = d->order->key;
	char hex[65];

	pw_public_key_print(&row->key, hex);
	if (strcmp(row->bus, d->order->argv[1]) != 0 ||
	    (key && strncmp(hex, key, strlen(key)) != 0))
		return 0;
	d->row = *row;
	d->found++;
	return 0;
}

static int find_matter(void *ctx, const struct pw_matter *m)
{
	struct deciding *d = ctx;
	char hex[65];

	pw_public_key_print(&d->row.key, hex);
	if (m->kind == PW_MATTER_KEY && strcmp(m->bus, d->row.bus) == 0 &&
	    strcmp(m->hash, hex) == 0)
		d->matter = m->id;
	return 0;
}

/* The matter is seen to by whoever decides. */
static int take_matter(struct pw_store *s, struct deciding *d, char *why, size_t size)
{
	struct pw_matter m;
	int result = pw_store_matters(s, false, 0, find_matter, d, why, size);

	if (result == 0 && d->matter != 0)
		result = pw_store_matter_take(s, d->matter, d->order->by, d->order->words,
					      d->row.decided_ms, &m, why, size);
	return result < 0 ? result : 0;
}

static int put_bus(struct pw_store *s, struct deciding *d, char *why, size_t size)
{
	int result = pw_store_bus(s, d->row.bus, &d->bus, why, size);

	if (result < 0)
		return result;
	if (result == 0)
		memset(&d->bus, 0, sizeof(d->bus));
	memcpy(d->bus.bus, d->row.bus, sizeof(d->bus.bus));
	d->bus.has_key = true;
	d->bus.key = d->row.key;
	d->bus.enrolled_ms = d->row.decided_ms;
	memcpy(d->bus.token, d->row.token, sizeof(d->bus.token));
	return pw_store_bus_put(s, &d->bus, why, size);
}

static int decide(struct pw_store *s, struct deciding *d, char *why, size_t size)
{
	char did[200];
	int result;

	d->row.decided_ms = pw_office_now_ms();
	d->row.accepted = d->accept;
	snprintf(d->row.who, sizeof(d->row.who), "%s", d->order->by);
	snprintf(d->row.words, sizeof(d->row.words), "%s", d->order->words);
	snprintf(did, sizeof(did), "%s a key of bus %s: %.120s", d->accept ? "accepted" : "refused",
		 d->row.bus, d->order->words);
	result = pw_store_key_put(s, &d->row, why, size);
	if (result == 0 && d->accept)
		result = put_bus(s, d, why, size);
	if (result == 0)
		result = take_matter(s, d, why, size);
	return result ? result : pw_store_log(s, d->row.decided_ms, d->order->by, did, why, size);
}

static int work_decide(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct deciding *d = ctx;
	int result = pw_store_keys(s, true, find_waiting, d, why, size);

	if (result)
		return result;
	if (d->found == 1)
		return decide(s, d, why, size);
	if (d->found == 0)
		snprintf(why, size, "no such key of bus %s waits", d->order->argv[1]);
	else
		snprintf(why, size, "%d such keys of bus %s wait: say which by --key FINGERPRINT",
			 d->found, d->order->argv[1]);
	return -2;
}

static int do_decide(struct pw_order *c, bool accept)
{
	struct deciding d = { .order = c, .accept = accept };
	char hex[65];
	int status = pw_order_desk(c, work_decide, &d);

	if (status)
		return status;
	pw_roll_key(c->o->roll, &d.row);
	if (accept)
		pw_roll_bus(c->o->roll, &d.bus);
	pw_public_key_print(&d.row.key, hex);
	fprintf(c->out, "bus %s: key %s %s\n", d.row.bus, hex, accept ? "accepted" : "refused");
	return 0;
}

int pw_do_accept(struct pw_order *c)
{
	return do_decide(c, true);
}

int pw_do_refuse(struct pw_order *c)
{
	return do_decide(c, false);
}
