/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Power cuts at every moment of a day on the emulated board, told by the log of what its disk was
 * given: a day of three sweeps is journaled once; then each state in which a cut may have left the
 * disk is made, mounted and judged. What had been acknowledged before the cut must be there.
 *
 *	test_disklog		some of the cuts, spread over the day
 *	test_disklog --all	every one
 *	test_disklog --cuts N	so many
 *
 * PW_SEED chooses the seed, which is printed. Run from the top folder; BOARD, POSTWALK and
 * POSTWALKD name what was built.
 */
#include "bus.h"
#include "cutfolder.h"
#include "disklog.h"

#include <fcntl.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>
#include <unistd.h>

enum { PORT = 8787, ACKS_MAX = 4096, CUTS_USUAL = 40, STARTS_USUAL = 8, STARTS_ALL = 100,
       TOLD_MAX = 20 };

/* So many questions after a cut, and the answer shows what was on the disk or something newer: the
 * page may give an answer that is a tenth of a second old. */
enum { SURELY_AFTER = 3 };

static const char POLICY[] = "tests/board/postwalk.conf";

/* Phases as bits, so that they can be sets. */
enum { PARKED = 1, DRIVING = 2, OWED = 4, OVERDUE = 8, WALK_BACK = 16 };

static const struct {
	const char *name;
	unsigned phase;
	/* what may stand after the power came back, key off and doors shut (R20) */
	unsigned clock_lost, after_20_min;
} phases[] = {
	{ "parked", PARKED, PARKED, PARKED },
	{ "driving", DRIVING, OWED, OWED },
	{ "owed", OWED, OWED | OVERDUE, OVERDUE }, /* its clock runs on while it is asked */
	{ "overdue", OVERDUE, OVERDUE, OVERDUE },
	{ "walk_back", WALK_BACK, WALK_BACK | PARKED, PARKED }, /* cut before or after return_min */
};
enum { PHASES = sizeof(phases) / sizeof(phases[0]) };

/* What the page acknowledged, and between which positions of the log it did so. */
struct ack {
	int64_t asked, told;
	uint64_t kept;
	unsigned phase; /* 0: some records were still waiting */
};

struct cut {
	size_t position;
	enum pw_fate fate;
};

static struct day {
	struct bus_ear ear; /* first */
	struct bus bus;
	char first[600]; /* the disk before the day */
	int64_t asked;
	struct ack acks[ACKS_MAX];
	size_t n_acks;
	struct pw_disklog *log;
	struct pw_cut_room room;
	struct pw_cut_whole whole;
	struct cut *cuts;
	size_t n_cuts, wanted; /* wanted 0: all */
	uint64_t seed;
	size_t tried, clean, started, booted, unsound, losing;
	uint64_t lost;
} day;

static const char *const fates[PW_FATES] = { "", "dropped", "kept", "chosen", "torn" };

/* -- the day ------------------------------------------------------------------------------ */

static void asking(struct bus_ear *ear)
{
	(void)ear;
	day.asked = pw_disklog_now(day.bus.disk_log);
	assert_true(day.asked >= 0);
}

static unsigned phase_of(const char *name)
{
	for (size_t i = 0; i < PHASES; i++)
		if (strcmp(phases[i].name, name) == 0)
			return phases[i].phase;
	return 0;
}

static void told(struct bus_ear *ear, const json_t *status)
{
	const json_t *journal = json_object_get(status, "journal");
	struct ack *ack = &day.acks[day.n_acks++];

	(void)ear;
	assert_true(day.n_acks < ACKS_MAX);
	ack->asked = day.asked;
	ack->told = pw_disklog_now(day.bus.disk_log);
	assert_true(ack->told >= ack->asked);
	ack->kept = (uint64_t)json_integer_value(json_object_get(journal, "kept"));
	if (json_integer_value(json_object_get(journal, "waiting")) == 0)
		ack->phase = phase_of(json_string_value(json_object_get(status, "phase")));
}

/* Asks often enough for a cut now to be known to fall into the phase that stands. */
static void stand(struct bus *bus)
{
	for (int i = 0; i <= SURELY_AFTER; i++)
		bus_await_kept(bus);
}

static void drive(struct bus *bus)
{
	bus_key_on(bus);
	stand(bus);
	bus_key_off(bus);
	stand(bus);
}

/* On time or late, as fast as this machine is. */
static void walk_and_leave(struct bus *bus)
{
	bus_walk(bus);
	bus_press(bus, "acknowledged");
	stand(bus);
	bus_leave(bus, "");
	stand(bus);
}

static int is_no_stall(const json_t *status, const void *restart_s)
{
	const json_t *sweep = json_object_get(status, "sweep");

	return json_number_value(json_object_get(sweep, "open_s")) > *(const double *)restart_s;
}

static void drive_off(struct bus *bus)
{
	const double restart_s = 2; /* as the policy has it */

	json_decref(bus_await_status(bus, PORT, is_no_stall, &restart_s));
	bus_pull(bus, IGNITION, 1);
	bus_hear(bus, "sweep closed: missed");
	stand(bus);
}

/* Walked; missed, as the bus drives off; and, after a second start of the daemon, walked when
 * overdue. */
static void a_day_of_three_sweeps_is_journaled(void **state)
{
	struct bus *bus = &day.bus;

	(void)state;
	bus_power_on(bus, "2036-03-04T14:30:00", 0);
	stand(bus);
	drive(bus);
	walk_and_leave(bus);
	drive(bus);
	drive_off(bus);
	bus_run(bus, "kill $watch; wait $watch", NULL, 0);
	bus_run(bus, "postwalkd --config /etc/postwalk.conf --state /state & watch=$!", NULL, 0);
	bus_hear(bus, "bus board-1 is watched");
	bus_key_off(bus);
	bus_hear(bus, "rung cabin");
	stand(bus);
	walk_and_leave(bus);
	bus_run(bus, "kill $watch; wait $watch; sync", NULL, 0);
	bus_cut(bus);
	assert_int_equal(pw_disklog_open(&day.log, bus->disk_log, day.first), 0);
}

/* -- what a cut must have left ------------------------------------------------------------ */

static uint64_t acknowledged(size_t position)
{
	uint64_t kept = 0;

	for (size_t i = 0; i < day.n_acks && day.acks[i].told <= (int64_t)position; i++)
		kept = day.acks[i].kept > kept ? day.acks[i].kept : kept;
	return kept;
}

/* The phases that may have been on the disk: those told from the last answer before the cut to one
 * that is surely younger than it. */
static unsigned phases_at(size_t position)
{
	unsigned set = PARKED; /* before the first record */
	int after = 0;

	for (size_t i = 0; i < day.n_acks && after < SURELY_AFTER; i++) {
		if (day.acks[i].phase == 0)
			continue;
		if (day.acks[i].told <= (int64_t)position)
			set = 0;
		set |= day.acks[i].phase;
		after += day.acks[i].asked >= (int64_t)position;
	}
	return set;
}

/* The phases in which it may be found, after either kind of gap. */
static unsigned after_gap(unsigned set, int clock_lost)
{
	unsigned after = 0;

	for (size_t i = 0; i < PHASES; i++)
		if (set & phases[i].phase)
			after |= clock_lost ? phases[i].clock_lost : phases[i].after_20_min;
	return after;
}

/* -- cuts --------------------------------------------------------------------------------- */

/* With every position the disk that took all; where writes are open also a choice of them, and at
 * the end of each such stretch the disk that took none. */
static void list_cuts(void)
{
	size_t length = pw_disklog_length(day.log);

	day.cuts = calloc(4 * (length + 1), sizeof(*day.cuts));
	assert_non_null(day.cuts);
	for (size_t at = 0; at <= length; at++) {
		day.cuts[day.n_cuts++] = (struct cut){ at, PW_FATE_KEPT };
		if (pw_disklog_open_writes(day.log, at) == 0)
			continue;
		day.cuts[day.n_cuts++] = (struct cut){ at, PW_FATE_CHOSEN };
		day.cuts[day.n_cuts++] = (struct cut){ at, PW_FATE_TORN };
		if (at == length || pw_disklog_is_flush(day.log, at))
			day.cuts[day.n_cuts++] = (struct cut){ at, PW_FATE_DROPPED };
	}
}

/* An image that was found wanting stays beside the others, for whoever looks into it. */
__attribute__((format(printf, 2, 3)))
static void tell_unsound(const struct cut *cut, const char *format, ...)
{
	va_list arguments;

	if (day.unsound++ >= TOLD_MAX)
		return;
	printf("cut at %zu, %s: ", cut->position, fates[cut->fate]);
	va_start(arguments, format);
	vprintf(format, arguments);
	va_end(arguments);
	putchar('\n');
	if (day.unsound > 1)
		return;
	bus_shell("cp '%s' '%s.unsound'", day.room.image, day.bus.disk);
	printf("its image: %s.unsound\n", day.bus.disk);
}

static void tell_lost(const struct cut *cut, uint64_t must, uint64_t seq)
{
	day.lost += must - seq;
	if (must > seq && day.losing++ < TOLD_MAX)
		printf("cut at %zu, %s: %" PRIu64 " records, and %" PRIu64 " were acknowledged\n",
		       cut->position, fates[cut->fate], seq, must);
}

static void go_on(const struct cut *cut, uint64_t seq)
{
	struct pw_cut_whole before = { .hash = day.whole.hash, .seq = seq };
	struct pw_cut_start start;
	struct pw_cut_found found;
	unsigned may = after_gap(phases_at(cut->position), 1);

	day.started++;
	pw_cut_go_on(day.room.folder, POLICY, &start);
	if (start.flaw[0] != '\0') {
		tell_unsound(cut, "%s", start.flaw);
		return;
	}
	if (!(phase_of(start.phase) & may))
		tell_unsound(cut, "after it the bus is %s", start.phase);
	pw_cut_judge(day.room.folder, &before, &found);
	if (found.flaw[0] != '\0' || found.seq <= seq || found.sealed != found.seq)
		tell_unsound(cut, "what the start added: %s, seq %" PRIu64 ", sealed to %" PRIu64,
			     found.flaw, found.seq, found.sealed);
}

static void make_cut(const struct cut *cut)
{
	uint64_t seed = day.seed ^ (cut->position << 3 | cut->fate);

	if (pw_disklog_cut(day.log, cut->position, cut->fate, seed, day.room.image) < 0)
		fail_msg("%s cannot be written", day.room.image);
}

static void try_cut(const struct cut *cut, int starts)
{
	uint64_t must = acknowledged(cut->position);
	struct pw_cut_found found;

	make_cut(cut);
	day.tried++;
	if (pw_cut_take(&day.room) < 0) {
		tell_unsound(cut, "the file system cannot be had");
		tell_lost(cut, must, 0);
		return;
	}
	day.clean += pw_cut_is_clean(&day.room) != 0;
	pw_cut_judge(day.room.folder, &day.whole, &found);
	if (found.flaw[0] != '\0')
		tell_unsound(cut, "%s", found.flaw);
	if (found.seq < must)
		tell_lost(cut, must, found.seq);
	if (starts && found.flaw[0] == '\0')
		go_on(cut, found.seq);
}

static void every_cut_leaves_what_was_acknowledged_and_a_sound_journal(void **state)
{
	const struct cut end = { pw_disklog_length(day.log), PW_FATE_KEPT };
	uint64_t seed = day.seed;
	size_t tries, starts, offset;

	(void)state;
	assert_non_null(day.log);
	assert_int_equal(pw_cut_room_make(&day.room, day.first), 0);
	make_cut(&end);
	assert_int_equal(pw_cut_take(&day.room), 0);
	assert_int_equal(pw_cut_whole_take(day.room.folder, &day.whole), 0);
	assert_true(day.whole.seq >= day.acks[day.n_acks - 1].kept);
	list_cuts();
	tries = day.wanted == 0 || day.wanted > day.n_cuts ? day.n_cuts : day.wanted;
	starts = day.wanted == 0 ? STARTS_ALL : STARTS_USUAL;
	offset = (size_t)(pw_dice(&seed) % (day.n_cuts / tries));
	for (size_t i = 0; i < tries; i++)
		try_cut(&day.cuts[i * day.n_cuts / tries + offset],
			i * starts / tries != (i + 1) * starts / tries);
	assert_int_equal(day.lost, 0);
	assert_int_equal(day.unsound, 0);
}

/* -- the board itself --------------------------------------------------------------------- */

/* A position at which the disk held a state of that phase; where none is sure, perhaps. */
static size_t position_of(unsigned phase)
{
	size_t perhaps = 0;

	for (size_t i = 0; i < day.n_acks; i++) {
		size_t position = (size_t)day.acks[i].told;

		if (phases_at(position) == phase)
			return position;
		if (day.acks[i].phase == phase)
			perhaps = position;
	}
	return perhaps;
}

static void boot_after(const struct cut *cut)
{
	unsigned may = after_gap(phases_at(cut->position), 0);
	json_t *status;

	make_cut(cut);
	bus_shell("cp '%s' '%s'", day.room.image, day.bus.disk);
	bus_power_on(&day.bus, "2036-03-04T14:50:00", 0);
	bus_await_kept(&day.bus);
	status = bus_status(&day.bus, PORT);
	assert_non_null(status);
	day.booted++;
	if (!(phase_of(json_string_value(json_object_get(status, "phase"))) & may))
		tell_unsound(cut, "twenty minutes after it the board is %s",
			     json_string_value(json_object_get(status, "phase")));
	if (bus_has_fault(status, "journal", ""))
		tell_unsound(cut, "the board has the fault journal");
	json_decref(status);
	bus_cut(&day.bus);
}

static void the_board_comes_back_after_twenty_minutes_as_it_owes(void **state)
{
	struct cut cut = { .fate = PW_FATE_TORN };
	size_t unsound = day.unsound;

	(void)state;
	assert_non_null(day.log);
	day.bus.ear = NULL;
	day.bus.disk_log[0] = '\0';
	for (size_t i = 0; i < PHASES; i++) {
		cut.position = position_of(phases[i].phase);
		if (cut.position == 0)
			fail_msg("no answer told of %s", phases[i].name);
		if (day.wanted == 0 || phases[i].phase & (OWED | WALK_BACK))
			boot_after(&cut);
	}
	assert_int_equal(day.unsound, unsound);
}

/* -- the program -------------------------------------------------------------------------- */

static int build(void **state)
{
	(void)state;
	bus_build(&day.bus, "test_disklog");
	snprintf(day.first, sizeof(day.first), "%s.first", day.bus.disk);
	snprintf(day.bus.disk_log, sizeof(day.bus.disk_log), "%.500s.log", day.bus.disk);
	bus_shell("cp '%s' '%s' && : >'%s'", day.bus.disk, day.first, day.bus.disk_log);
	day.ear = (struct bus_ear){ asking, told };
	day.bus.ear = &day.ear;
	return 0;
}

static int scrap(void **state)
{
	(void)state;
	bus_scrap(&day.bus);
	unlink(day.first);
	pw_disklog_close(day.log);
	pw_cut_room_scrap(&day.room);
	pw_cut_whole_free(&day.whole);
	free(day.cuts);
	return 0;
}

static int read_arguments(int argc, char **argv)
{
	day.wanted = CUTS_USUAL;
	if (argc == 2 && strcmp(argv[1], "--all") == 0)
		day.wanted = 0;
	else if (argc == 3 && strcmp(argv[1], "--cuts") == 0 && atoi(argv[2]) > 0)
		day.wanted = (size_t)atoi(argv[2]);
	else if (argc != 1)
		return -1;
	if (getenv("PW_SEED"))
		day.seed = strtoull(getenv("PW_SEED"), NULL, 0);
	else if (getrandom(&day.seed, sizeof(day.seed), 0) != (ssize_t)sizeof(day.seed))
		return -1;
	return 0;
}

int main(int argc, char **argv)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(a_day_of_three_sweeps_is_journaled),
		cmocka_unit_test(every_cut_leaves_what_was_acknowledged_and_a_sound_journal),
		cmocka_unit_test(the_board_comes_back_after_twenty_minutes_as_it_owes),
	};
	int failed;

	if (read_arguments(argc, argv) < 0) {
		fprintf(stderr, "usage: %s [--all | --cuts N]\n", argv[0]);
		return 2;
	}
	printf("seed %" PRIu64 "\n", day.seed);
	failed = cmocka_run_group_tests_name("every power cut of a day on the emulated board",
					     tests, build, scrap);
	printf("the log: %zu of %zu cuts in it; %s; file systems that e2fsck finds clean: %zu; "
	       "starts on this machine: %zu, on the board: %zu\n", day.tried, day.n_cuts,
	       day.room.mounts ? "mounted" : "not mounted (not permitted): e2fsck and debugfs",
	       day.clean, day.started, day.booted);
	printf("cuts tried %zu, acknowledged records lost %" PRIu64 ", unsound %zu\n", day.tried,
	       day.lost, day.unsound);
	return failed != 0;
}
