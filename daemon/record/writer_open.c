/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The writer's start (J6), in the order that lets the alarm wait for none of it: the lock, the key, the
 * file; then what was kept is told; then the journal is judged; then batches are taken. What is not
 * believed is put aside whole, and an epoch begins whose first record says what came before.
 */
#include "child_internal.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/file.h>
#include <time.h>
#include <unistd.h>

#define LOCK_RETRY_MS 20
#define RECEIPTS_SEEN 4096 /* newest, to find one that is of no alert */
#define LOCK_PATIENCE 50 /* tries, before a writer that has not ended yet is told of */

/* An earlier writer may still be in the middle of its last commit: never two at once (J1). */
static int take_lock(struct pw_child *c, char *why, size_t size)
{
	char path[4096];

	snprintf(path, sizeof(path), "%s/journal.lock", c->order->dir);
	if (c->lock < 0)
		c->lock = open(path, O_RDWR | O_CREAT | O_CLOEXEC, 0640);
	if (c->lock >= 0 && flock(c->lock, LOCK_EX | LOCK_NB) == 0)
		return 0;
	if (c->lock >= 0 && errno == EWOULDBLOCK) {
		c->lock_tries++;
		snprintf(why, size, "%.180s: held by another writer", path);
	} else {
		snprintf(why, size, "%.180s: %s", path, strerror(errno));
	}
	return -1;
}

/* -- what came before -------------------------------------------------------------------------- */

/* The last record before the first flaw that is damage. */
struct good {
	struct pw_check check;
	bool over;
};

static void find_flaw(void *ctx, const struct pw_found *f)
{
	struct good *g = ctx;

	g->over = g->over || (pw_flaw_is_damage(f->flaw) && f->flaw != PW_FLAW_PRUNED);
}

static void walk(struct pw_journal *j, struct pw_before *before)
{
	struct good g = { .over = false };
	struct pw_record r;
	char why[PW_WORDS_MAX];

	pw_check_begin(&g.check, pw_journal_bus(j), NULL, find_flaw, &g);
	memcpy(before->epoch, pw_journal_epoch(j), sizeof(before->epoch));
	for (uint64_t seq = 1; pw_journal_read(j, seq, &r, why, sizeof(why)) == 1; seq = r.seq + 1) {
		pw_check_record(&g.check, &r);
		if (g.over)
			return;
		before->seq = r.seq;
		memcpy(before->hash, r.hash, sizeof(before->hash));
	}
}

/* From the seal files: the newest of an epoch that is not this one's. True: there is one. */
static bool sealed_before(const struct pw_child *c, struct pw_before *before)
{
	struct pw_seal_file f[2];
	unsigned broken;
	int count = pw_seal_files_read(c->order->dir, f, &broken);

	for (int i = 0; i < count; i++)
		if (before->seq < f[i].seal.seq) {
			memcpy(before->epoch, f[i].epoch, sizeof(before->epoch));
			memcpy(before->hash, f[i].seal.hash, sizeof(before->hash));
			before->seq = f[i].seal.seq;
		}
	return count > 0;
}

/* The newest of all up to a record: those of alerts are passed over. */
static void take_receipt(void *ctx, const char *body, int64_t wall_ms)
{
	struct pw_before *before = ctx;
	struct pw_receipt r;

	(void)wall_ms;
	if (before->receipt[0] == '\0' && pw_receipt_body_read(body, &r) == 0 && !r.alert)
		snprintf(before->receipt, sizeof(before->receipt), "%s", body);
}

/* What the office has is also said outside, and there it may be later. */
static void look_outside(const struct pw_child *c, struct pw_before *before)
{
	struct pw_receipt outside, inside = { .seq = 0 };

	if (pw_receipt_witness(c->order->dir, &outside) != 1)
		return;
	if (before->epoch[0] == '\0') {
		memcpy(before->epoch, outside.epoch, sizeof(before->epoch));
		memcpy(before->hash, outside.hash, sizeof(before->hash));
		before->seq = outside.seq;
	}
	if (strcmp(before->epoch, outside.epoch) == 0
	    && (pw_receipt_body_read(before->receipt, &inside) < 0 || inside.seq < outside.seq))
		pw_receipt_body(&outside, before->receipt, sizeof(before->receipt));
}

static void take_policy(void *ctx, const char *body, int64_t wall_ms)
{
	struct pw_before *before = ctx;

	(void)wall_ms;
	snprintf(before->policy, sizeof(before->policy), "%s", body);
}

/* What the journal that is given up still tells. */
static void remember(struct pw_child *c, const char *path)
{
	struct pw_before *b = &c->before;
	char why[PW_WORDS_MAX];
	struct pw_journal *j;

	memset(b, 0, sizeof(*b));
	b->boot = c->row.boot;
	b->mono_ms = c->row.mono_ms;
	b->wall_ms = c->row.wall_ms;
	if (pw_journal_open(path, NULL, false, &j, why, sizeof(why)) == 0) {
		walk(j, b);
		pw_journal_newest(j, PW_K_RECEIPT, RECEIPTS_SEEN, take_receipt, b, why, sizeof(why));
		pw_journal_newest(j, PW_K_POLICY, 1, take_policy, b, why, sizeof(why));
		b->held = pw_journal_kept(j, &b->row, why, sizeof(why)) == 1
			  && pw_kept_holds(pw_journal_bus(j), pw_journal_epoch(j), &b->row,
					   &c->key.public);
		pw_journal_close(j);
	}
	if (b->epoch[0] == '\0')
		sealed_before(c, b);
	look_outside(c, b);
	snprintf(b->why, sizeof(b->why), "%s", c->damage);
}

/* -- a new epoch ------------------------------------------------------------------------------- */

static int put_aside(struct pw_child *c, const char *path, char *why, size_t size)
{
	unsigned n;

	remember(c, path);
	if (pw_journal_aside(c->order->dir, &n) < 0) {
		snprintf(why, size, "%.180s, and cannot be renamed: %s", c->damage, strerror(errno));
		return -1;
	}
	pw_child_say(c->trouble.start,
		     "a new journal was begun: %.150s; the old one is journal.db.damaged-%u",
		     c->damage, n);
	c->damage[0] = '\0';
	c->checking = PW_CHECK_OVER; /* that one is done with */
	return 0;
}

/* {"before":{"epoch":...,"seq":...,"hash":...},"why":...,"receipt":...} */
static int epoch_body(const struct pw_before *b, char *body, size_t size)
{
	struct pw_json o;

	pw_json_init(&o, body, size);
	pw_json_open(&o, NULL, '{');
	if (b->epoch[0] != '\0') {
		pw_json_open(&o, "before", '{');
		pw_json_text(&o, "epoch", b->epoch, 16);
		pw_json_int(&o, "seq", (int64_t)b->seq);
		pw_json_text(&o, "hash", b->seq > 0 ? b->hash : PW_CHAIN_ORIGIN, 64);
		pw_json_close(&o, '}');
	} else {
		pw_json_time(&o, "before", PW_NO_TIME);
	}
	pw_json_text(&o, "why", b->why, sizeof(b->why));
	if (b->receipt[0] != '\0')
		pw_json_text(&o, "receipt", b->receipt, sizeof(b->receipt));
	else
		pw_json_time(&o, "receipt", PW_NO_TIME);
	pw_json_close(&o, '}');
	return pw_json_end(&o);
}

/* At the time of the last state that was kept: notes from before now may still be on their way. */
static int add(struct pw_child *c, enum pw_kind kind, const char *body, char *why, size_t size)
{
	struct pw_record r = { .boot = c->before.boot, .mono_ms = c->before.mono_ms,
			       .wall_ms = c->before.wall_ms, .kind = kind, .body = body };

	if (r.wall_ms == 0)
		r.wall_ms = pw_child_clock_ms(CLOCK_REALTIME);

	return pw_journal_add(c->journal, &r, why, size);
}

/* That of an epoch that is over goes aside with its journal. */
static void leave_receipt(struct pw_child *c)
{
	struct pw_receipt r;

	if (pw_receipt_file_read(c->order->dir, &r) == 1
	    && strcmp(r.epoch, pw_journal_epoch(c->journal)) != 0)
		pw_receipt_aside(c->order->dir);
}

/* The first record says what came before, and is sealed, inside and outside, at once. */
static int begin_epoch(struct pw_child *c, char *why, size_t size)
{
	int result;

	if (epoch_body(&c->before, c->body, sizeof(c->body)) < 0) {
		snprintf(why, size, "what came before does not fit a record");
		return -1;
	}
	if ((result = pw_journal_begin(c->journal, why, size)) < 0
	    || (result = add(c, PW_K_EPOCH, c->body, why, size)) < 0
	    || (c->before.policy[0] != '\0'
		&& (result = add(c, PW_K_POLICY, c->before.policy, why, size)) < 0)
	    || (result = pw_journal_seal(c->journal, &c->key, why, size)) < 0
	    || (c->before.held
		&& (result = pw_journal_keep(c->journal, &c->before.row, &c->key, why, size)) < 0)
	    || (result = pw_journal_commit(c->journal, why, size)) < 0)
		return result;
	if (c->before.held)
		c->row = c->before.row;
	memset(&c->before, 0, sizeof(c->before));
	pw_child_seal_outside(c);
	pw_child_seal_outside(c); /* neither file is left with another epoch */
	leave_receipt(c);
	return 0;
}

/* The journal that was put aside by a start that was cut before it had begun a new one. 0: there is
 * none; N: journal.db.damaged-N, and j where it can be read. */
static unsigned cut_before(struct pw_child *c, char path[4096], struct pw_journal **j)
{
	const unsigned n = pw_journal_last_aside(c->order->dir);
	struct pw_before sealed = { .seq = 0 };
	char why[PW_WORDS_MAX];

	*j = NULL;
	snprintf(path, 4096, "%s/journal.db.damaged-%u", c->order->dir, n);
	if (n == 0 || pw_journal_open(path, NULL, false, j, why, sizeof(why)) < 0
	    || !sealed_before(c, &sealed) || strcmp(sealed.epoch, pw_journal_epoch(*j)) == 0)
		return n;
	pw_journal_close(*j); /* others came after it */
	*j = NULL;
	return 0;
}

/* A journal without a record, where others had been before. */
static void find_before(struct pw_child *c)
{
	char path[4096];
	struct pw_journal *j;
	const unsigned n = cut_before(c, path, &j);

	pw_journal_close(j);
	if (n > 0) {
		pw_child_say(c->damage, "the start before was cut short; the old one is "
			     "journal.db.damaged-%u", n);
		remember(c, path);
		c->damage[0] = '\0';
	} else {
		sealed_before(c, &c->before);
		look_outside(c, &c->before);
		if (c->before.epoch[0] != '\0')
			snprintf(c->before.why, sizeof(c->before.why), "journal.db was not there");
	}
	if (c->before.why[0] != '\0')
		pw_child_say(c->trouble.start, "a new journal was begun: %s", c->before.why);
}

/* An epoch that was just begun when power went: its seal files may still be of another. */
static void follow_outside(struct pw_child *c)
{
	const uint64_t head = pw_journal_head(c->journal, NULL);
	struct pw_seal_file f[2];
	unsigned broken;
	int count = head <= 2 && head == pw_journal_sealed(c->journal)
			    ? pw_seal_files_read(c->order->dir, f, &broken) : 0;

	for (int i = 0; i < count; i++)
		if (strcmp(f[i].epoch, pw_journal_epoch(c->journal)) != 0) {
			pw_child_seal_outside(c);
			leave_receipt(c);
		}
}

static int first_record(struct pw_child *c, char *why, size_t size)
{
	if (pw_journal_head(c->journal, NULL) > 0) {
		follow_outside(c);
		return 0;
	}
	if (c->before.why[0] == '\0')
		find_before(c);
	return c->before.why[0] != '\0' ? begin_epoch(c, why, size) : 0;
}

/* -- opening ----------------------------------------------------------------------------------- */

static int load_key(struct pw_child *c, char *why, size_t size)
{
	bool drawn;
	unsigned n;
	int result = pw_secret_key_load(c->order->dir, "bus", &c->key, &drawn, why, size);

	if (result != -2)
		return result < 0 ? -1 : 0;
	if (pw_key_aside(c->order->dir, &n) < 0) {
		snprintf(why, size, "%s/bus.key: %s", c->order->dir, strerror(errno));
		return -1;
	}
	return pw_secret_key_load(c->order->dir, "bus", &c->key, &drawn, why, size) < 0 ? -1 : 0;
}

/* Opened, or put aside and begun anew. */
static int open_file(struct pw_child *c, char *why, size_t size)
{
	char path[4096];
	int result;

	snprintf(path, sizeof(path), "%s/journal.db", c->order->dir);
	if (c->damage[0] != '\0' && put_aside(c, path, why, size) < 0)
		return -1;
	if (pw_log_aside(c->order->dir) < 0) {
		snprintf(why, size, "%.180s-wal cannot be renamed: %s", path, strerror(errno));
		return -1;
	}
	result = pw_journal_open(path, c->order->bus, true, &c->journal, why, size);
	if (result != -2)
		return result;
	pw_child_say(c->damage, "%s", why);
	return put_aside(c, path, why, size) < 0
		? -1 : pw_journal_open(path, c->order->bus, true, &c->journal, why, size);
}

/* What is owed is owed, though a start was cut after it had put the journal aside. */
static void look_aside(struct pw_child *c, struct pw_kept_state *kept)
{
	char path[4096], why[PW_WORDS_MAX];
	struct pw_kept_row row;
	struct pw_journal *j;

	if (cut_before(c, path, &j) > 0 && j != NULL)
		pw_start_find(j, c->order->dir, &c->key.public, c->boot, kept, &row, why, sizeof(why));
	pw_journal_close(j);
}

/* The kept state, at the first try of a start; -2 is for the judgement to find again. */
static int tell_kept(struct pw_child *c, char *why, size_t size)
{
	struct pw_kept_state *kept = &c->out.of.kept;
	int result = pw_start_find(c->journal, c->order->dir, &c->key.public, c->boot, kept, &c->row,
				   why, size);

	if (result == -1)
		return -1;
	if (result < 0) {
		memset(kept, 0, sizeof(*kept));
		kept->boot = c->boot != 0 ? c->boot : 1;
	}
	if (result == 0 && !kept->found && pw_journal_head(c->journal, NULL) == 0)
		look_aside(c, kept);
	c->boot = kept->boot;
	if (kept->found)
		c->phase = kept->state.phase;
	if (why[0] != '\0')
		pw_child_say(c->trouble.start, "%s", why);
	pw_child_tell(c, PW_M_KEPT, c->row.batch, sizeof(*kept));
	return 0;
}

/* The whole file is read: once a start, and not again by a writer that took over. */
static int judge(struct pw_child *c, char *why, size_t size)
{
	int result = c->order->boot == 0 && !c->quick_checked
			     ? pw_journal_quick_check(c->journal, why, size) : 0;

	if (result < 0)
		return result;
	c->quick_checked = true;
	result = pw_journal_judge(c->journal, c->order->dir, &c->key.public, why, size);
	if (result == 0 && why[0] != '\0') {
		pw_child_say(c->trouble.start, "%s", why);
		c->seal_waits = true;
	}
	return result;
}

static void ready(struct pw_child *c)
{
	c->retry_at_ms = PW_NEVER;
	if (c->row.boot == c->boot) /* a writer that took over */
		pw_child_stamp_from(c, c->phase, pw_child_clock_ms(CLOCK_BOOTTIME));
	if (c->row.batch >= c->failed)
		c->ill[PW_ILL_RECORDS][0] = '\0';
	c->out.of.ready = (struct pw_ready){ .seq = pw_journal_head(c->journal, NULL),
					     .boot = c->boot };
	pw_child_tell(c, PW_M_READY, c->row.batch, sizeof(c->out.of.ready));
	pw_child_tell_trouble(c);
}

static int open_all(struct pw_child *c, char *why, size_t size)
{
	int result;

	if ((result = load_key(c, why, size)) < 0 || (result = open_file(c, why, size)) < 0
	    || (result = tell_kept(c, why, size)) < 0)
		return result;
	if ((result = judge(c, why, size)) < 0)
		return result;
	pw_child_tell(c, PW_M_JUDGED, 0, 0);
	if ((result = pw_journal_settle(c->journal, why, size)) < 0)
		return result;
	if ((result = pw_journal_index(c->journal, why, size)) < 0)
		return result;
	if (c->seal_waits) /* after that: a file never says more than the journal has */
		pw_child_seal_outside(c);
	if ((result = first_record(c, why, size)) < 0
	    || (result = pw_child_receipt_find(c, why, size)) < 0)
		return result;
	return pw_serve_begin(c, why, size);
}

/* A disk that can only be read, or a folder that cannot be written: what is owed is owed (R20). */
static void tell_kept_as_it_stands(struct pw_child *c)
{
	struct pw_kept_state *kept = &c->out.of.kept;
	char path[4096], why[PW_WORDS_MAX];
	struct pw_public_key key;
	struct pw_journal *j;

	snprintf(path, sizeof(path), "%s/bus.pub", c->order->dir);
	if (pw_public_key_load(path, &key, why, sizeof(why)) < 0)
		return;
	snprintf(path, sizeof(path), "%s/journal.db", c->order->dir);
	if (pw_journal_open(path, c->order->bus, false, &j, why, sizeof(why)) < 0)
		return;
	if (pw_start_find(j, c->order->dir, &key, c->boot, kept, &c->row, why, sizeof(why)) == 0
	    && kept->found)
		pw_child_tell(c, PW_M_KEPT, c->row.batch, sizeof(*kept));
	pw_journal_close(j);
}

static void fail(struct pw_child *c, int result, const char *why)
{
	if (c->boot == 0)
		tell_kept_as_it_stands(c);
	pw_child_give_up(c, result, why);
}

void pw_child_open(struct pw_child *c)
{
	char why[PW_WORDS_MAX] = "";
	int result;

	if (take_lock(c, why, sizeof(why)) < 0) {
		if (c->lock_tries == 0 || c->lock_tries > LOCK_PATIENCE)
			fail(c, -1, why);
		else
			c->retry_at_ms = pw_child_clock_ms(CLOCK_BOOTTIME) + LOCK_RETRY_MS;
		return;
	}
	c->lock_tries = 0;
	result = open_all(c, why, sizeof(why));
	if (result == -2) { /* not believed: put aside, and once more */
		pw_journal_leave(c->journal);
		c->journal = NULL;
		pw_child_say(c->damage, "%s", why);
		result = open_all(c, why, sizeof(why));
	}
	if (result < 0)
		fail(c, result, why);
	else
		ready(c);
}
