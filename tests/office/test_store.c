/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The store's front door: one table of cases, each with SQLite and with a PostgreSQL server of its
 * own. What only one of them has is in test_store_sqlite.c and test_store_pgsql.c.
 */
#include "store_world.h"

/* -- buses, codes, keys ------------------------------------------------------------------------ */

static void bus_is_kept(struct world *w)
{
	struct pw_bus_row row = { .bus = "14", .enrolled_ms = NOON_MS }, back;

	assert_int_equal(pw_store_bus(w->s, "14", &back, WHY), 0);
	IN_TRANSACTION(w->s, pw_store_bus_put(w->s, &row, WHY));
	assert_int_equal(pw_store_bus(w->s, "14", &back, WHY), 1);
	assert_string_equal(back.bus, "14");
	assert_false(back.has_key);
	assert_string_equal(back.token, "");
	assert_int_equal(back.enrolled_ms, NOON_MS);
	row.has_key = true;
	row.key = made_key()->public;
	memset(row.token, 'a', 64);
	IN_TRANSACTION(w->s, pw_store_bus_put(w->s, &row, WHY));
	assert_int_equal(pw_store_bus(w->s, "14", &back, WHY), 1);
	assert_true(back.has_key);
	assert_memory_equal(back.key.bytes, row.key.bytes, 32);
	assert_string_equal(back.token, row.token);
	assert_int_equal(pw_store_bus(w->s, "1", &back, WHY), 0);
}

static int32_t first_of_days[3];
static size_t days_of[3], buses_heard;

static int take_heard(void *ctx, const struct pw_bus_row *row, const int32_t *day, size_t days)
{
	(void)ctx;
	assert_true(row->has_key);
	for (size_t i = 1; i < days; i++)
		assert_true(day[i] < day[i - 1]);
	first_of_days[buses_heard] = days > 0 ? day[0] : 0;
	days_of[buses_heard++] = days;
	return 0;
}

static void days_on_which_a_bus_was_heard_of(struct world *w)
{
	struct pw_bus_row no_key = { .bus = "12" }, back;

	FINE(pw_store_begin(w->s, WHY));
	put_bus(w->s, "13");
	put_bus(w->s, "14");
	FINE(pw_store_bus_put(w->s, &no_key, WHY));
	for (int32_t day = 1; day <= 70; day++) /* days are numbers here */
		FINE(pw_store_bus_heard(w->s, "14", NOON_MS + day, 20260000 + day, WHY));
	FINE(pw_store_bus_heard(w->s, "14", NOON_MS + 99, 20260070, WHY));
	assert_int_equal(pw_store_bus_heard(w->s, "15", NOON_MS, 20260070, WHY), -2);
	FINE(pw_store_commit(w->s, WHY));
	assert_string_equal(why, "there is no bus 15");
	buses_heard = 0;
	FINE(pw_store_heard(w->s, take_heard, NULL, WHY));
	assert_int_equal(buses_heard, 2);
	assert_int_equal(days_of[0], 0);
	assert_int_equal(days_of[1], 64);
	assert_int_equal(first_of_days[1], 20260070);
	assert_int_equal(pw_store_bus(w->s, "14", &back, WHY), 1);
	assert_int_equal(back.heard_ms, NOON_MS + 99);
}

static void code_is_good_once_and_not_for_ever(struct world *w)
{
	const char *code = "00ff00ff00ff00ff00ff00ff00ff00ff00ff00ff00ff00ff00ff00ff00ff00ff";
	const struct { const char *bus, *hash; int64_t now_ms; int taken; } tries[] = {
		{ "14", ORIGIN, NOON_MS, 0 },       /* another code */
		{ "15", code, NOON_MS, 0 },         /* of another bus */
		{ "14", code, NOON_MS + 1000, 0 },  /* over */
		{ "14", code, NOON_MS + 999, 1 },
		{ "14", code, NOON_MS + 999, 0 },   /* used */
	};

	IN_TRANSACTION(w->s, pw_store_code_put(w->s, "14", code, NOON_MS + 1000, WHY));
	for (size_t i = 0; i < sizeof(tries) / sizeof(tries[0]); i++)
		assert_int_equal(pw_store_code_take(w->s, tries[i].bus, tries[i].hash,
						    tries[i].now_ms, WHY),
				 tries[i].taken);
}

static int take_key(void *ctx, const struct pw_key_row *row)
{
	struct pw_key_row **next = ctx;

	*(*next)++ = *row;
	return 0;
}

static void key_waits_until_it_is_decided(struct world *w)
{
	struct pw_key_row first = { .bus = "14", .key = made_key()->public, .asked_ms = NOON_MS },
			  second = { .bus = "13", .asked_ms = NOON_MS + 1 }, rows[4], *next = rows;

	memset(first.token, 'e', 64);
	FINE(pw_store_begin(w->s, WHY));
	FINE(pw_store_key_put(w->s, &second, WHY));
	FINE(pw_store_key_put(w->s, &first, WHY));
	FINE(pw_store_keys(w->s, true, take_key, &next, WHY));
	assert_int_equal(next - rows, 2);
	assert_string_equal(rows[0].bus, "14");
	first.decided_ms = NOON_MS + 5;
	first.accepted = true;
	strcpy(first.who, "dh.2");
	strcpy(first.words, "seen on the board: it's \"the\" one; -- ö");
	FINE(pw_store_key_put(w->s, &first, WHY));
	FINE(pw_store_commit(w->s, WHY));
	next = rows;
	FINE(pw_store_keys(w->s, true, take_key, &next, WHY));
	assert_int_equal(next - rows, 1);
	assert_string_equal(rows[0].bus, "13");
	next = rows;
	FINE(pw_store_keys(w->s, false, take_key, &next, WHY));
	assert_int_equal(next - rows, 2);
	assert_memory_equal(rows[0].key.bytes, first.key.bytes, 32);
	assert_string_equal(rows[0].token, first.token);
	assert_string_equal(rows[0].words, first.words);
	assert_string_equal(rows[0].who, first.who);
	assert_int_equal(rows[0].decided_ms, first.decided_ms);
	assert_true(rows[0].accepted);
}

/* -- records ----------------------------------------------------------------------------------- */

struct reading { const struct made *made; size_t at, seals; };

static int same_record(void *ctx, const struct pw_record *r, const struct pw_seal *seal)
{
	struct reading *all = ctx;
	const struct pw_record *made = &all->made->record[all->at++];

	assert_int_equal(r->seq, made->seq);
	assert_int_equal(r->boot, made->boot);
	assert_int_equal(r->mono_ms, made->mono_ms);
	assert_int_equal(r->wall_ms, made->wall_ms);
	assert_int_equal(r->wall_ok, made->wall_ok);
	assert_int_equal(r->kind, made->kind);
	assert_string_equal(r->epoch, made->epoch);
	assert_string_equal(r->prev, made->prev);
	assert_string_equal(r->hash, made->hash);
	assert_string_equal(r->body, made->body);
	if (seal != NULL) {
		assert_string_equal(seal->sig, all->made->seal[0].sig);
		assert_true(pw_seal_holds("14", r->epoch, seal, &made_key()->public));
		all->seals++;
	}
	return 0;
}

static int enough(void *ctx, const struct pw_record *r, const struct pw_seal *seal)
{
	(void)seal;
	++*(uint64_t *)ctx;
	return r->seq == 20 ? 7 : 0;
}

static void records_come_back_as_they_were_sent(struct world *w)
{
	static struct made m;
	static char long_body[PW_BODY_MAX + 1];
	struct reading all = { .made = &m };
	uint64_t count = 0;
	char hash[65];

	make_put(&m, "14", NULL, MADE_MAX);
	memset(long_body, 'x', PW_BODY_MAX);
	m.record[3].body = long_body;
	m.record[6].body = "\xf4\x8f\xbf\xbf\xed\x9f\xbf\xee\x80\x80\xe0\xa0\x80\xc2\x80";
	m.record[4].body = "{\"words\":\"O'Hare said \\\"no\\\"; Größe 6\\t$1 – \\\\.\"}";
	m.record[5].boot = 3;
	m.record[5].wall_ok = false;
	m.record[5].mono_ms = INT64_MAX;
	m.record[5].wall_ms = -1;
	FINE(pw_store_begin(w->s, WHY));
	put_bus(w->s, "14");
	FINE(pw_store_put(w->s, &m.put, WHY));
	FINE(pw_store_commit(w->s, WHY));
	FINE(pw_store_read(w->s, "14", EPOCH, 0, 0, same_record, &all, WHY));
	assert_int_equal(all.at, MADE_MAX);
	assert_int_equal(all.seals, 1);
	all.at = 99; /* its prev is looked up */
	FINE(pw_store_read(w->s, "14", EPOCH, 0, 100, same_record, &all, WHY));
	assert_int_equal(all.at, MADE_MAX);
	assert_int_equal(pw_store_read(w->s, "14", EPOCH, 0, 11, enough, &count, WHY), 7);
	assert_int_equal(count, 10);
	assert_int_equal(pw_store_hash(w->s, "14", EPOCH, 0, 6, hash, WHY), 1);
	assert_string_equal(hash, m.record[5].hash);
	assert_int_equal(pw_store_hash(w->s, "14", EPOCH, 0, MADE_MAX + 1, hash, WHY), 0);
	assert_int_equal(pw_store_hash(w->s, "14", EPOCH, 1, 6, hash, WHY), 0);
	assert_int_equal(pw_store_hash(w->s, "15", EPOCH, 0, 6, hash, WHY), 0);
	count = 0;
	FINE(pw_store_read(w->s, "15", EPOCH, 0, 0, count_record, &count, WHY));
	FINE(pw_store_read(w->s, "14", EPOCH, 0, MADE_MAX + 1, count_record, &count, WHY));
	assert_int_equal(count, 0);
}

static char order[200];

static int note_branch(void *ctx, const struct pw_branch *b)
{
	static const char *const letter[] = { [PW_BRANCH_FIRST] = "first",
					      [PW_BRANCH_FORK] = "fork",
					      [PW_BRANCH_HOLE] = "hole" };
	size_t n = strlen(order);

	(void)ctx;
	snprintf(order + n, sizeof(order) - n, "%s/%.2s/%u:%s,%" PRIu64 "-%" PRIu64 " ", b->bus,
		 b->epoch, b->branch, letter[b->why], b->first, b->head);
	return 0;
}

static const char *branches(struct world *w, const char *bus, const char *epoch)
{
	order[0] = '\0';
	FINE(pw_store_branches(w->s, bus, epoch, note_branch, NULL, WHY));
	return order;
}

static void branches_stand_side_by_side(struct world *w)
{
	struct made first, fork, hole, other;

	put_now(w->s, &first, "14", NULL, 20);
	make_put(&fork, "14", &first.put.to, 5);
	fork.put.begins = true;
	fork.put.to.branch = 1;
	fork.put.to.why = PW_BRANCH_FORK;
	fork.put.to.first = 21;
	fork.put.to.begun_ms = NOON_MS - 5;
	strcpy(fork.put.to.first_prev, first.put.to.hash);
	IN_TRANSACTION(w->s, pw_store_put(w->s, &fork.put, WHY));
	make_put(&hole, "14", &first.put.to, 3);
	hole.put.begins = true;
	hole.put.to.branch = 2;
	hole.put.to.why = PW_BRANCH_HOLE;
	hole.put.to.first = 21;
	hole.put.to.begun_ms = NOON_MS + 5;
	strcpy(hole.put.to.epoch, "ff00000000000000");
	IN_TRANSACTION(w->s, pw_store_put(w->s, &hole.put, WHY));
	put_now(w->s, &other, "2", NULL, 1);
	assert_string_equal(branches(w, NULL, NULL),
			    "14/01/1:fork,21-25 14/01/0:first,1-20 2/01/0:first,1-1 "
			    "14/ff/2:hole,21-23 ");
	assert_string_equal(branches(w, "14", NULL), "14/01/1:fork,21-25 14/01/0:first,1-20 "
			    "14/ff/2:hole,21-23 ");
	assert_string_equal(branches(w, "14", EPOCH), "14/01/1:fork,21-25 14/01/0:first,1-20 ");
	assert_string_equal(branches(w, "3", EPOCH), "");
	make_put(&other, "14", &first.put.to, 5); /* the first one goes on beside them */
	IN_TRANSACTION(w->s, pw_store_put(w->s, &other.put, WHY));
	assert_string_equal(branches(w, "14", EPOCH), "14/01/1:fork,21-25 14/01/0:first,1-25 ");
	assert_int_equal(figures_of(w->s).branches, 4);
	assert_int_equal(figures_of(w->s).records, 20 + 5 + 3 + 1 + 5);
}

/* The whole put is refused, and the transaction goes on without it. */
static void refused(struct world *w, const struct pw_put *put, const char *words)
{
	FINE(pw_store_begin(w->s, WHY));
	FINE(pw_store_mark(w->s, WHY));
	assert_int_equal(pw_store_put(w->s, put, WHY), -2);
	if (words != NULL)
		assert_string_equal(why, words);
	FINE(pw_store_mark_undo(w->s, WHY));
	FINE(pw_store_commit(w->s, WHY));
}

static void head_moves_by_compare_and_set(struct world *w)
{
	const char *moved = "the head of bus 14, epoch " EPOCH ", branch 0 is another one by now";
	struct made first, next, stale;

	put_now(w->s, &first, "14", NULL, 10);
	refused(w, &first.put, moved); /* it has begun already */
	put_now(w->s, &next, "14", &first.put.to, 10);
	make_put(&stale, "14", &first.put.to, 10);
	refused(w, &stale.put, moved); /* by number */
	make_put(&stale, "14", &next.put.to, 10);
	strcpy(stale.put.was_hash, first.put.to.hash);
	refused(w, &stale.put, moved); /* by hash */
	assert_int_equal(head_of(w->s, "14").head, 20);
	assert_string_equal(head_of(w->s, "14").hash, next.put.to.hash);
	assert_int_equal(records_of(w->s, "14"), 20);
}

static void put_that_is_not_whole_is_refused(struct world *w)
{
	/* RFC 3629: alone, too long, a surrogate, past the last, cut off */
	static const char *const no_utf8[] = { "{\"\xff\"}", "\x80", "\xc0\xaf", "\xe0\x9f\xbf",
					       "\xed\xa0\x80",
					       "\xf0\x8f\xbf\xbf", "\xf4\x90\x80\x80", "\xe2\x82",
					       "\xf5" };
	const char *words = "records of bus 14 do not lead from head to head";
	struct made first, next;

	put_now(w->s, &first, "14", NULL, 10);
	make_put(&next, "14", &first.put.to, 10);
	next.put.to.head = 21;
	refused(w, &next.put, words);
	make_put(&next, "14", &first.put.to, 10);
	next.record[5].seq = 17;
	refused(w, &next.put, words);
	make_put(&next, "14", &first.put.to, 10);
	next.put.records = 0;
	refused(w, &next.put, words);
	make_put(&next, "14", &first.put.to, 10);
	strcpy(next.put.to.hash, ORIGIN);
	refused(w, &next.put, words);
	make_put(&next, "14", &first.put.to, 10);
	next.record[2].hash[7] = 'x';
	refused(w, &next.put, NULL);
	for (size_t i = 0; i < sizeof(no_utf8) / sizeof(no_utf8[0]); i++) {
		make_put(&next, "14", &first.put.to, 10);
		next.record[3].body = no_utf8[i];
		refused(w, &next.put, "record 14 of bus 14 is not UTF-8");
	}
	make_put(&next, "15", NULL, 10); /* a bus that nobody enrolled */
	refused(w, &next.put, NULL);
	assert_int_equal(head_of(w->s, "14").head, 10);
	assert_int_equal(records_of(w->s, "14"), 10);
	assert_int_equal(figures_of(w->s).seals, 1);
	assert_int_equal(figures_of(w->s).sweeps, 1);
}

/* -- transactions ------------------------------------------------------------------------------ */

static void rollback_leaves_nothing(struct world *w)
{
	struct pw_matter matter = { .kind = PW_MATTER_CLOCK, .bus = "14", .words = "made up" };
	struct pw_bus_row row;
	struct made first, next;

	put_now(w->s, &first, "14", NULL, 20);
	make_put(&next, "14", &first.put.to, 20);
	FINE(pw_store_begin(w->s, WHY));
	put_bus(w->s, "15");
	FINE(pw_store_put(w->s, &next.put, WHY));
	FINE(pw_store_matter_put(w->s, &matter, WHY));
	FINE(pw_store_log(w->s, NOON_MS, "dh.2", "nothing", WHY));
	assert_int_equal(records_of(w->s, "14"), 40); /* seen by its own transaction */
	pw_store_rollback(w->s);
	pw_store_rollback(w->s); /* does no harm */
	again(w);
	assert_int_equal(pw_store_bus(w->s, "15", &row, WHY), 0);
	assert_int_equal(head_of(w->s, "14").head, 20);
	assert_int_equal(records_of(w->s, "14"), 20);
	assert_int_equal(figures_of(w->s).matters, 0);
	put_now(w->s, &next, "14", &first.put.to, 20);
	assert_int_equal(records_of(w->s, "14"), 40);
}

/* looks: what was put is asked for before the mark is undone. */
static void marks(struct world *w, bool looks)
{
	struct made a, b, c;
	char hash[65];

	make_put(&a, "14", NULL, 20);
	make_put(&b, "14", &a.put.to, 20);
	make_put(&c, "14", &a.put.to, 30);
	FINE(pw_store_begin(w->s, WHY));
	put_bus(w->s, "14");
	FINE(pw_store_mark(w->s, WHY));
	FINE(pw_store_put(w->s, &a.put, WHY));
	FINE(pw_store_mark_keep(w->s, WHY));
	FINE(pw_store_mark(w->s, WHY));
	FINE(pw_store_put(w->s, &b.put, WHY));
	if (looks)
		assert_int_equal(pw_store_hash(w->s, "14", EPOCH, 0, 33, hash, WHY), 1);
	FINE(pw_store_mark_undo(w->s, WHY));
	if (looks)
		assert_int_equal(pw_store_hash(w->s, "14", EPOCH, 0, 33, hash, WHY), 0);
	FINE(pw_store_mark(w->s, WHY));
	FINE(pw_store_put(w->s, &c.put, WHY));
	FINE(pw_store_mark_keep(w->s, WHY));
	FINE(pw_store_commit(w->s, WHY));
	again(w);
	assert_int_equal(head_of(w->s, "14").head, 50);
	assert_int_equal(records_of(w->s, "14"), 50);
	assert_int_equal(figures_of(w->s).seals, 2);
	assert_int_equal(figures_of(w->s).sweeps, 5);
}

static void mark_undone_takes_nothing_else_with_it(struct world *w)
{
	marks(w, false);
}

static void mark_undone_after_its_rows_were_read(struct world *w)
{
	marks(w, true);
}

/* More than is held back before it is sent. */
static void long_transaction_with_many_marks(struct world *w)
{
	static struct made m[2];
	const unsigned puts = 40;

	FINE(pw_store_begin(w->s, WHY));
	put_bus(w->s, "14");
	for (unsigned i = 0, good = 0; i < puts; i++) {
		struct made *now = &m[good % 2], *before = &m[(good + 1) % 2];

		make_put(now, "14", good > 0 ? &before->put.to : NULL, MADE_MAX);
		FINE(pw_store_mark(w->s, WHY));
		FINE(pw_store_put(w->s, &now->put, WHY));
		if (i % 4 == 3) {
			FINE(pw_store_mark_undo(w->s, WHY));
		} else {
			FINE(pw_store_mark_keep(w->s, WHY));
			good++;
		}
	}
	FINE(pw_store_commit(w->s, WHY));
	again(w);
	assert_int_equal(records_of(w->s, "14"), puts * 3 / 4 * MADE_MAX);
	assert_int_equal(head_of(w->s, "14").head, puts * 3 / 4 * MADE_MAX);
	assert_int_equal(figures_of(w->s).seals, puts * 3 / 4);
}

static void second_owner_is_refused(struct world *w)
{
	struct pw_store *second;

	assert_int_equal(pw_store_open(w->where, false, &second, WHY), -1);
	assert_null(second);
	assert_non_null(strstr(why, "another process has"));
}

/* -- the table --------------------------------------------------------------------------------- */

int main(void)
{
	static const struct world_case cases[] = {
		CASE(bus_is_kept),
		CASE(days_on_which_a_bus_was_heard_of),
		CASE(code_is_good_once_and_not_for_ever),
		CASE(key_waits_until_it_is_decided),
		CASE(records_come_back_as_they_were_sent),
		CASE(branches_stand_side_by_side),
		CASE(head_moves_by_compare_and_set),
		CASE(put_that_is_not_whole_is_refused),
		CASE(rollback_leaves_nothing),
		CASE(mark_undone_takes_nothing_else_with_it),
		CASE(mark_undone_after_its_rows_were_read),
		CASE(long_transaction_with_many_marks),
		CASE(second_owner_is_refused),
	};

	return world_run(cases, sizeof(cases) / sizeof(cases[0]));
}
