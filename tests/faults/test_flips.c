/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Decay: single bits of a small journal turned over, one at a time, all through its file and its
 * log. Of each bit:
 *
 *	same    every column of every record and seal, the kept state, the last sweeps read as before
 *	found   something reads otherwise, or not at all, and what verify and a start judge by says
 *		that the journal is damaged (J6, J10)
 *	older   (log only) it is an earlier moment of itself, not older than its newest seal file:
 *		what SQLite drops behind a broken frame; docs/threats.md, "A log taken away"
 *
 * Anything else is a hole. By default a bit of each byte of the file, by chance (SEED), and of
 * every 8th where it is room that nothing stands in; of the log, of every 61st. FLIPS=all takes
 * every bit of the file, and one of each byte of the log.
 */
#include <fcntl.h>

#include "copies.h"

#define TOLD_MAX 65536
#define FILE_MAX (1 << 20)
#define LOG_STRIDE 61
#define ROOM_STRIDE 8
#define ROOM_ZEROS 16

enum outcome { FOUND, SAME, OLDER, OUTCOMES };

/* All that a journal tells. */
struct telling {
	char rows[TOLD_MAX]; /* records and seals, column by column */
	size_t length;
	uint64_t seq;        /* of the last record */
	struct pw_kept_row row;
	struct pw_kept_state kept;
};

struct flips {
	struct copies *c;
	char dir[96], path[112], log[120], index[120];
	struct pw_public_key key;
	struct telling before;
	uint64_t newest_file; /* seq of the newest seal file */
	uint64_t count[OUTCOMES];
};

/* -- what it tells ----------------------------------------------------------------------------- */

static void put(struct telling *t, const void *bytes, size_t size)
{
	assert_true(size <= sizeof(t->rows) - t->length);
	memcpy(t->rows + t->length, bytes, size);
	t->length += size;
}

static void put_text(struct telling *t, const char *text)
{
	put(t, text, strlen(text) + 1);
}

static void put_record(struct telling *t, const struct pw_record *r)
{
	const int64_t numbers[] = { (int64_t)r->seq, (int64_t)r->boot, r->mono_ms, r->wall_ms,
				    r->wall_ok, (int64_t)r->kind };

	put(t, numbers, sizeof(numbers));
	put_text(t, r->epoch);
	put_text(t, r->body);
	put_text(t, r->prev);
	put_text(t, r->hash);
	t->seq = r->seq;
}

static int tell_rows(struct pw_journal *j, struct telling *t)
{
	struct pw_seal s = { .seq = 0 };
	struct pw_record r;
	char why[300];
	int got;

	while ((got = pw_journal_read(j, t->seq + 1, &r, why, sizeof(why))) == 1)
		put_record(t, &r);
	while (got == 0 && (got = pw_journal_read_seal(j, s.seq + 1, &s, why, sizeof(why))) == 1) {
		put(t, &s.seq, sizeof(s.seq));
		put_text(t, s.hash);
		put_text(t, s.sig);
		got = 0;
	}
	return got;
}

static int tell(const struct flips *f, struct pw_journal *j, struct telling *t)
{
	char why[300];

	memset(t, 0, sizeof(*t));
	put_text(t, pw_journal_bus(j));
	put_text(t, pw_journal_epoch(j));
	return tell_rows(j, t) < 0 ? -1
		: pw_start_find(j, f->dir, &f->key, 0, &t->kept, &t->row, why, sizeof(why));
}

static bool is_same(const struct telling *a, const struct telling *b)
{
	return a->length == b->length && memcmp(a->rows, b->rows, a->length) == 0
	       && memcmp(&a->row, &b->row, sizeof(a->row)) == 0
	       && memcmp(&a->kept, &b->kept, sizeof(a->kept)) == 0;
}

/* -- is anything said to be wrong? ------------------------------------------------------------- */

static void take_flaw(void *ctx, const struct pw_found *found)
{
	/* a tail on its way to its next seal is none */
	*(unsigned *)ctx += found->flaw != PW_FLAW_UNSEALED;
}

static bool check_finds(const struct flips *f, struct pw_journal *j)
{
	struct pw_seal s = { .seq = 0 };
	unsigned flaws = 0;
	struct pw_check check;
	struct pw_record r = { .seq = 0 };
	char why[300];
	int got, seal = pw_journal_read_seal(j, 1, &s, why, sizeof(why));

	pw_check_begin(&check, pw_journal_bus(j), &f->key, take_flaw, &flaws);
	while ((got = pw_journal_read(j, r.seq + 1, &r, why, sizeof(why))) == 1) {
		pw_check_record(&check, &r);
		for (; seal == 1 && s.seq <= r.seq;
		     seal = pw_journal_read_seal(j, s.seq + 1, &s, why, sizeof(why)))
			pw_check_seal(&check, &s);
	}
	pw_check_end(&check);
	return got < 0 || seal < 0 || flaws > 0;
}

static bool is_found(const struct flips *f, struct pw_journal *j)
{
	char why[300];

	return pw_journal_judge(j, f->dir, &f->key, why, sizeof(why)) < 0
	       || pw_journal_quick_check(j, why, sizeof(why)) < 0 || check_finds(f, j);
}

/* -- one bit ----------------------------------------------------------------------------------- */

/* Seals and kept state vouch for themselves; nothing that a seal file vouches for is lost. */
static bool is_older(const struct flips *f, struct pw_journal *j)
{
	struct pw_record r = { .seq = 0 };
	static struct telling whole;
	char why[300];
	int got;

	memset(&whole, 0, sizeof(whole));
	put_text(&whole, pw_journal_bus(j));
	put_text(&whole, pw_journal_epoch(j));
	while ((got = pw_journal_read(j, r.seq + 1, &r, why, sizeof(why))) == 1)
		put_record(&whole, &r);
	return got == 0 && memcmp(whole.rows, f->before.rows, whole.length) == 0
	       && whole.seq <= f->before.seq && whole.seq >= f->newest_file;
}

static enum outcome judge_bit(const struct flips *f, const char *path)
{
	static struct telling t;
	enum outcome outcome = OUTCOMES;
	struct pw_journal *j;
	char why[300];

	if (pw_journal_open(f->path, NULL, false, &j, why, sizeof(why)) < 0)
		return FOUND;
	if (tell(f, j, &t) == 0 && is_same(&t, &f->before))
		outcome = SAME;
	else if (is_found(f, j))
		outcome = FOUND;
	else if (path == f->log && is_older(f, j))
		outcome = OLDER;
	pw_journal_close(j);
	return outcome;
}

static void turn_over(int fd, off_t at, unsigned bit)
{
	unsigned char byte;

	assert_int_equal(pread(fd, &byte, 1, at), 1);
	byte ^= (unsigned char)(1u << bit);
	assert_int_equal(pwrite(fd, &byte, 1, at), 1);
}

static void flip(struct flips *f, int fd, const char *path, off_t at, unsigned bit)
{
	enum outcome outcome;

	turn_over(fd, at, bit);
	if (path == f->log)
		unlink(f->index); /* so that the log is read anew */
	outcome = judge_bit(f, path);
	turn_over(fd, at, bit);
	if (outcome == OUTCOMES)
		fail_msg("%s: bit %u of byte %ld: it tells something else, and nothing shows it",
			 path, bit, (long)at);
	f->count[outcome]++;
}

/* Zeros far and wide. */
static bool is_room(const unsigned char *bytes, off_t size, off_t at)
{
	for (off_t i = at - ROOM_ZEROS; i <= at + ROOM_ZEROS; i++)
		if (i >= 0 && i < size && bytes[i] != 0)
			return false;
	return true;
}

static void flip_bytes(struct flips *f, int fd, const char *path, off_t stride, bool all)
{
	static unsigned char bytes[FILE_MAX];
	const ssize_t size = pread(fd, bytes, sizeof(bytes), 0);

	assert_true(size > 0 && size < FILE_MAX);
	for (off_t at = rand() % stride; at < size; at += stride) {
		const unsigned one = (unsigned)rand() % 8;

		if (!all && at % ROOM_STRIDE && is_room(bytes, size, at))
			continue;
		for (unsigned bit = all ? 0 : one; bit <= (all ? 7 : one); bit++)
			flip(f, fd, path, at, bit);
	}
}

static void flip_all(struct flips *f, const char *path, off_t stride, bool all)
{
	const char *given = getenv("SEED");
	const unsigned seed = given ? (unsigned)atoi(given) : (unsigned)now_ms() % 1000000;
	int fd = open(path, O_RDWR | O_CLOEXEC);

	assert_true(fd >= 0);
	print_message("seed %u\n", seed);
	srand(seed);
	flip_bytes(f, fd, path, stride, all);
	close(fd);
	print_message("%s: of %lu bits %lu found, %lu changed nothing that it tells, %lu took it "
		      "back to an unsealed moment before\n", strrchr(path, '/') + 1,
		      (unsigned long)(f->count[FOUND] + f->count[SAME] + f->count[OLDER]),
		      (unsigned long)f->count[FOUND], (unsigned long)f->count[SAME],
		      (unsigned long)f->count[OLDER]);
}

static bool all_of_them(void)
{
	const char *how = getenv("FLIPS");

	return how && strcmp(how, "all") == 0;
}

/* -- the tests --------------------------------------------------------------------------------- */

static void read_before(struct flips *f)
{
	struct pw_seal_file file[2];
	struct pw_journal *j;
	unsigned broken;
	char why[300];

	assert_int_equal(pw_journal_open(f->path, NULL, false, &j, why, sizeof(why)), 0);
	assert_int_equal(tell(f, j, &f->before), 0);
	assert_false(is_found(f, j));
	pw_journal_close(j);
	assert_true(f->before.seq > 0 && f->before.kept.found && f->before.kept.recent_count > 0);
	assert_int_equal(pw_seal_files_read(f->dir, file, &broken), 2);
	f->newest_file = file[0].seal.seq > file[1].seal.seq ? file[0].seal.seq : file[1].seal.seq;
}

static struct flips *begin(struct copies *c, const char *moment)
{
	static struct flips f;
	char pub[120], why[300];

	copies_take(c, moment);
	memset(&f, 0, sizeof(f));
	f.c = c;
	snprintf(f.dir, sizeof(f.dir), "%s/now/state", c->base);
	snprintf(f.path, sizeof(f.path), "%s/journal.db", f.dir);
	snprintf(f.log, sizeof(f.log), "%s-wal", f.path);
	snprintf(f.index, sizeof(f.index), "%s-shm", f.path);
	snprintf(pub, sizeof(pub), "%s/bus.pub", f.dir);
	assert_int_equal(pw_public_key_load(pub, &f.key, why, sizeof(why)), 0);
	read_before(&f);
	return &f;
}

static void a_bit_anywhere_in_a_journal_is_found_or_changes_nothing_J6_J10(void **state)
{
	struct flips *f = begin(*state, "early");

	flip_all(f, f->path, 1, all_of_them());
	assert_true(f->count[FOUND] > 1000);
	assert_true(f->count[SAME] > 1000); /* room that SQLite does not use yet */
}

static void a_bit_anywhere_in_a_log_is_found_or_loses_no_seal_J4_J6(void **state)
{
	struct flips *f = begin(*state, "walked");

	flip_all(f, f->log, all_of_them() ? 1 : LOG_STRIDE, false);
	assert_true(f->count[FOUND] > 100);
	assert_true(f->count[OLDER] > 0);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(a_bit_anywhere_in_a_journal_is_found_or_changes_nothing_J6_J10),
		cmocka_unit_test(a_bit_anywhere_in_a_log_is_found_or_loses_no_seal_J4_J6),
	};

	return cmocka_run_group_tests(tests, copies_make, copies_remove);
}
