/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Power goes while a start puts a journal aside (J6): before the n-th write, sync or rename of it,
 * for n = 1, 2, ... until none is left (of the writes, each third in the first scene). The next
 * start goes on from what was kept, nothing of the old journal is gone, and the one after that has
 * nothing to say.
 */
#include "record_help.h"

#include "record_aged.h"

struct scene {
	const char *name;
	void (*make)(const struct aged *a, struct folder *f);
	enum told told;
	uint64_t good, or;  /* the last good seq that the new epoch names */
	unsigned asides;    /* journal.db.damaged-N, in the end */
	bool log;           /* there was one, and it is to be found */
	const char *second; /* what has to stand aside besides, under one number or the next */
};

/* -- what stood there -------------------------------------------------------------------------- */

static void a_broken_chain(const struct aged *a, struct folder *f)
{
	aged_copy(a, f);
	must_shell(f, RECORD("body = '{}' WHERE seq = 8"));
}

/* Nothing outside says that there was one. */
static void a_broken_chain_that_was_never_sealed(const struct aged *a, struct folder *f)
{
	struct watch x;

	(void)a;
	folder_make(f);
	x = start_later(f, &quick, 1000);
	batch(&x, PW_K_RUNG, 3, PW_OWED);
	cut(&x);
	must_shell(f, RECORD("body = '{}' WHERE seq = 3"));
}

static void no_database_but_a_log(const struct aged *a, struct folder *f)
{
	struct watch x;

	aged_copy(a, f);
	x = start_later(f, &quick, 301000);
	batch(&x, PW_K_RUNG, 1, PW_OWED);
	cut(&x);
	must_shell(f, "test -s journal.db-wal && dd if=/dev/zero of=journal.db bs=100 count=1"
		      " conv=notrunc");
}

static void a_log_alone(const struct aged *a, struct folder *f)
{
	no_database_but_a_log(a, f);
	must_shell(f, "rm journal.db");
}

static void another_key(const struct aged *a, struct folder *f)
{
	aged_copy(a, f);
	must_shell(f, OTHER_KEY);
}

static void no_key(const struct aged *a, struct folder *f)
{
	aged_copy(a, f);
	must_shell(f, "echo tea > bus.key");
}

/* A journal of another epoch was put in its place: the seal files are neither of it nor of one
 * before it. Between its rename and the new epoch's first record they are all there is to go by: it
 * may have stood aside for long. So what it kept is then not gone on from. */
static void another_epoch(const struct aged *a, struct folder *f)
{
	struct watch x;

	aged_copy(a, f);
	must_shell(f, "mkdir away; mv journal.db seal.? away");
	x = start_later(f, &quick, 1000);
	for (int i = 0; i < 3; i++)
		batch(&x, PW_K_SWEEP, 1, PW_PARKED);
	stop(&x);
	must_shell(f, "mv away/journal.db .");
}

/* A board that was another bus's. */
static void another_bus(const struct aged *a, struct folder *f)
{
	struct watch x = { .f = f, .now_ms = 1000 };

	(void)a;
	folder_make(f);
	assert_int_equal(pw_writer_start_at(f->path, "bus-8", &quick, &x.w), 0);
	for (int i = 0; i < 3; i++)
		batch(&x, PW_K_SWEEP, 1, PW_OWED);
	stop(&x);
}

static const struct scene scenes[] = {
	{ "a broken chain", a_broken_chain, OWED, 7, 7, 1, false, NULL },
	{ "one that was never sealed", a_broken_chain_that_was_never_sealed, OWED, 2, 2, 1, false,
	  NULL },
	{ "no database but a log", no_database_but_a_log, NOTHING, 6, 6, 1, true, NULL },
	{ "a log alone", a_log_alone, NOTHING, 6, 6, 0, true, NULL },
	{ "another key", another_key, NOTHING, 10, 10, 1, false, "pub" },
	{ "no key", no_key, NOTHING, 10, 10, 1, false, "key" },
	{ "another epoch", another_epoch, NOTHING, 10, 3, 1, false, NULL },
	{ "another bus", another_bus, NOTHING, 3, 3, 1, false, NULL },
};

/* -- folders, without a shell: there are hundreds ---------------------------------------------- */

struct content {
	size_t size;
	char bytes[1 << 17];
};

static struct content *load(const struct folder *f, const char *name)
{
	struct content *c = calloc(1, sizeof(*c));
	FILE *file = fopen(in(f, name), "r");

	assert_non_null(c);
	if (file == NULL)
		return c;
	c->size = fread(c->bytes, 1, sizeof(c->bytes), file);
	assert_true(c->size < sizeof(c->bytes));
	fclose(file);
	return c;
}

static bool is_same(const struct folder *f, const char *name, const struct content *other)
{
	struct content *c = load(f, name);
	bool same = c->size == other->size && memcmp(c->bytes, other->bytes, c->size) == 0;

	free(c);
	return same;
}

/* The files of one, under their names, into the other (NULL: they are removed). */
static void each_file(const struct folder *from, const struct folder *to)
{
	DIR *dir = opendir(from->path);
	struct dirent *e;

	assert_non_null(dir);
	while ((e = readdir(dir)) != NULL) {
		struct content *c;
		char name[60];
		int fd;

		snprintf(name, sizeof(name), "%.59s", e->d_name);
		if (e->d_type != DT_REG)
			continue;
		if (to == NULL) {
			unlink(in(from, name));
			continue;
		}
		c = load(from, name);
		fd = open(in(to, name), O_WRONLY | O_CREAT | O_EXCL, 0640);
		assert_int_equal(write(fd, c->bytes, c->size), c->size);
		close(fd);
		free(c);
	}
	closedir(dir);
}

/* -- a start that is cut ----------------------------------------------------------------------- */

/* True: it came to the n-th. The first batch is part of it. calls: how many there were. */
static bool start_is_cut(const struct folder *f, int n, int *calls)
{
	struct watch x;
	bool failed;

	disk_tell(n, true, DISK_DIES);
	x = start_at(f, &quick);
	x.now_ms = 401000;
	note_and_keep(&x, 0, PW_OWED);
	while (atomic_load(&disk->failed) == 0 && pw_writer_next_ms(x.w) != PW_NEVER)
		turn(&x);
	failed = atomic_load(&disk->failed) > 0;
	*calls = atomic_load(&disk->calls);
	cut(&x);
	disk_tell(0, false, 0);
	return failed;
}

static void assert_aside(const struct folder *f, const struct scene *s,
			 const struct content *journal, const struct content *log, int n)
{
	const bool apart = exists(f, "journal.db-wal.damaged-1");
	char one[64], other[64];

	if (s->asides != pw_journal_last_aside(f->path))
		fail_msg("%s, n %d: %u put aside", s->name, n, pw_journal_last_aside(f->path));
	if (s->asides > 0 && !is_same(f, "journal.db.damaged-1", journal))
		fail_msg("%s, n %d: not as it was", s->name, n);
	if (s->log
	    && !is_same(f, apart ? "journal.db-wal.damaged-1" : "journal.db.damaged-1-wal", log))
		fail_msg("%s, n %d: the log is gone", s->name, n);
	if (s->second == NULL)
		return;
	snprintf(one, sizeof(one), "bus.damaged-1.%s", s->second);
	snprintf(other, sizeof(other), "bus.damaged-2.%s", s->second);
	if (!exists(f, one) && !exists(f, other))
		fail_msg("%s, n %d: %s is gone", s->name, n, s->second);
}

static void assert_epoch(const struct folder *f, const struct scene *s, int n)
{
	struct pw_journal *j;
	struct pw_record r;
	char why[256];
	json_int_t seq;
	json_t *body;

	assert_int_equal(pw_journal_open(in(f, "journal.db"), BUS, false, &j, why, sizeof(why)), 0);
	assert_int_equal(pw_journal_read(j, 1, &r, why, sizeof(why)), 1);
	body = json_loads(r.body, 0, NULL);
	seq = json_integer_value(json_object_get(json_object_get(body, "before"), "seq"));
	if (r.kind != PW_K_EPOCH || ((uint64_t)seq != s->good && (uint64_t)seq != s->or))
		fail_msg("%s, n %d: %s", s->name, n, r.body);
	json_decref(body);
	pw_journal_close(j);
}

static void assert_goes_on(const struct folder *f, const struct scene *s, bool was_cut, int n)
{
	struct watch x = start_at(f, &quick);
	struct pw_kept_state kept = kept_of(&x);
	struct pw_check c;

	x.now_ms = 501000;
	if (s->told == OWED && (!kept.found || kept.state.phase != PW_OWED))
		fail_msg("%s, n %d: what was owed is forgotten", s->name, n);
	batch(&x, PW_K_RUNG, 1, PW_OWED);
	if (pw_writer_fault(x.w) != NULL
	    && (!was_cut || strstr(pw_writer_fault(x.w), "a new journal was begun: ") == NULL))
		fail_msg("%s, n %d: %s", s->name, n, pw_writer_fault(x.w));
	stop(&x);
	assert_epoch(f, s, n);
	assert_sound(f, &c);
	x = start_at(f, &quick);
	kept = kept_of(&x);
	x.now_ms = 601000;
	batch(&x, PW_K_SWEEP, 1, PW_PARKED);
	if (!kept.found || pw_writer_fault(x.w) != NULL)
		fail_msg("%s, n %d, once more: %s", s->name, n, pw_writer_fault(x.w));
	stop(&x);
}

/* How many calls there were. */
static int try_moment(const struct scene *s, const struct folder *made, int n)
{
	struct content *journal = load(made, "journal.db"), *log = load(made, "journal.db-wal");
	struct folder f;
	bool was_cut;
	int calls;

	folder_make(&f);
	each_file(made, &f);
	was_cut = start_is_cut(&f, n, &calls);
	assert_goes_on(&f, s, was_cut, n);
	assert_aside(&f, s, journal, log, n);
	each_file(&f, NULL);
	assert_int_equal(rmdir(f.path), 0);
	free(journal);
	free(log);
	return calls;
}

static void try_scene(const struct aged *a, const struct scene *s, bool some)
{
	char kinds[sizeof(disk->kinds)];
	struct folder made;
	int moments = 0, last;

	s->make(a, &made);
	last = try_moment(s, &made, 1000); /* which calls there are */
	memcpy(kinds, disk->kinds, sizeof(kinds));
	assert_in_range(last, 20, sizeof(kinds) - 1);
	for (int n = 1; n <= last; n++)
		if (kinds[n] != 'w' || (some && n % 3 == 0)) {
			try_moment(s, &made, n);
			moments++;
		}
	folder_remove(&made);
	print_message("%s: %d moments of %d\n", s->name, moments, last);
}

static void power_goes_while_a_journal_is_put_aside(void **state)
{
	atomic_store(&disk->small, true);
	for (size_t i = 0; i < sizeof(scenes) / sizeof(scenes[0]); i++)
		try_scene(*state, &scenes[i], i == 0);
	atomic_store(&disk->small, false);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(power_goes_while_a_journal_is_put_aside),
	};

	disk_make();
	return cmocka_run_group_tests(tests, make_aged, drop_aged);
}
