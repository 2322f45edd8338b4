/* SPDX-License-Identifier: Apache-2.0 */
/* What is told when a line cannot be had or goes away, how it comes back, and how it is found.
 * Chips are the test's own but for the last tests, which ask the real library. */
#include "board_fake_gpio.h"

#include <dirent.h>

/* -- lines that cannot be had ------------------------------------------------------------------ */

static void each_refusal_has_its_words(void **state)
{
	static const struct {
		int error;
		const char *user, *text;
	} want[] = {
		{EBUSY, "other",
		 "gpiochip0 line 4 for rear_door is in use by \"other\": free it or change "
		 "offset"},
		{EBUSY, NULL,
		 "gpiochip0 line 4 for rear_door is in use by \"the kernel\": free it or change "
		 "offset"},
		{EPERM, NULL,
		 "gpiochip0 line 4 for rear_door may not be opened: let this program's user "
		 "open the chip or change chip"},
		{ENXIO, NULL,
		 "gpiochip0 line 4 for rear_door cannot tell edges: wire it to a line that has "
		 "interrupts or change offset"},
		{EIO, NULL,
		 "gpiochip0 line 4 for rear_door cannot be had (Input/output error): look at "
		 "the chip and its driver"},
	};

	(void)state;
	assert_int_equal(PW_REAR_DOOR, 4);
	for (size_t i = 0; i < sizeof(want) / sizeof(want[0]); i++) {
		struct bus *s = set_up();

		wire(PW_REAR_DOOR)->request_error = want[i].error;
		wire(PW_REAR_DOOR)->user = want[i].user;
		open_board(s);
		assert_fault(s, PW_REAR_DOOR, want[i].text);
		assert_fault(s, PW_IGNITION, NULL);
		pw_board_close(s->b);
	}
}

static void places_that_are_not_there_are_told(void **state)
{
	struct bus *s = set_up();

	(void)state;
	fake[1].denied = true;
	snprintf(s->p.line[PW_IGNITION].chip, 64, "gpiochip7");
	s->p.line[PW_REAR_BUTTON].offset = 16;
	snprintf(s->p.line[PW_REAR_DOOR].chip, 64, "/dev/gpiochip1");
	s->p.line[PW_SERVICE_DOOR].offset = -1;
	open_board(s);
	assert_fault(s, PW_IGNITION, "gpiochip7 line 0 for ignition is not there: connect the chip "
				     "or change chip");
	assert_fault(s, PW_REAR_BUTTON, "gpiochip0 line 16 for rear_button does not exist: count "
					"the chip's lines or change offset");
	assert_fault(s, PW_REAR_DOOR, "gpiochip1 line 4 for rear_door may not be opened: let this "
				      "program's user open the chip or change chip");
	assert_fault(s, PW_SERVICE_DOOR,
		     "service_door has no place: give chip and offset, or name, in [line "
		     "service_door]");
	assert_fault(s, PW_BEEPER, NULL);
	pw_board_close(s->b);
}

static void a_line_is_tried_again_and_the_others_go_on(void **state)
{
	struct bus *s = set_up();

	(void)state;
	wire(PW_REAR_DOOR)->request_error = EBUSY;
	wire(PW_REAR_DOOR)->level = 1;
	open_board(s);
	assert_int_equal(pw_board_levels(s->b), 0); /* never had: reads 0 */
	assert_int_equal(pw_board_next_ms(s->b), T0 + 5000);
	fake_pull(wire(PW_IGNITION), 1, T0 + 100);
	assert_int_equal(read_at(s, T0 + 200), 1);
	assert_int_equal(read_at(s, T0 + 5000), 0);
	assert_int_equal(wire(PW_REAR_DOOR)->requests, 2);
	assert_int_equal(pw_board_next_ms(s->b), T0 + 10000);
	wire(PW_REAR_DOOR)->request_error = 0;
	assert_int_equal(read_at(s, T0 + 9999), 0);
	assert_int_equal(read_at(s, T0 + 10000), 1);
	assert_edge(s, 0, PW_REAR_DOOR, 1, T0 + 10000);
	assert_fault(s, PW_REAR_DOOR, NULL);
	assert_int_equal(pw_board_next_ms(s->b), T0 + 60000);
	assert_int_equal(wire(PW_IGNITION)->requests, 1);
	pw_board_close(s->b);
}

/* -- lines that go away ------------------------------------------------------------------------ */

enum way { BY_READ = 1, BY_HANG_UP, BY_TICK };

static void go_away(struct bus *s, enum way way)
{
	struct fake_line *l = wire(PW_REAR_DOOR);

	l->request_error = ENODEV;
	if (way == BY_READ) {
		l->read_error = ENODEV;
		fake_tell(l, 0, T0 + 20);
	} else if (way == BY_HANG_UP) {
		fake_hang_up(l);
	} else {
		l->level_error = ENODEV;
	}
	assert_int_equal(read_at(s, T0 + (way == BY_TICK ? 60000 : 30)), 0);
	l->read_error = l->level_error = 0;
}

static void a_lost_line_keeps_its_level_and_comes_back(void **state)
{
	(void)state;
	for (enum way way = BY_READ; way <= BY_TICK; way++) {
		struct bus *s = set_up_open();
		int64_t gone_ms = T0 + (way == BY_TICK ? 60000 : 30);

		fake_pull(wire(PW_REAR_DOOR), 1, T0 + 10);
		assert_int_equal(read_at(s, T0 + 15), 1);
		go_away(s, way);
		assert_false(wire(PW_REAR_DOOR)->held);
		assert_fault(s, PW_REAR_DOOR,
			     "gpiochip0 line 4 for rear_door went away (No such device), its last "
			     "level is kept: connect the chip again");
		assert_int_equal(pw_board_levels(s->b), BIT(PW_REAR_DOOR));
		assert_int_equal(pw_board_next_ms(s->b), gone_ms + 5000);
		assert_int_equal(read_at(s, gone_ms + 5000), 0);
		assert_int_equal(pw_board_levels(s->b), BIT(PW_REAR_DOOR));
		wire(PW_REAR_DOOR)->request_error = 0;
		wire(PW_REAR_DOOR)->level = 0;
		assert_int_equal(read_at(s, gone_ms + 10000), 1);
		assert_edge(s, 0, PW_REAR_DOOR, 0, gone_ms + 10000);
		assert_fault(s, PW_REAR_DOOR, NULL);
		pw_board_close(s->b);
	}
}

static void outputs_are_driven_by_difference(void **state)
{
	struct bus *s = set_up_open();

	(void)state;
	pw_board_drive(s->b, BIT(PW_BEEPER) | BIT(PW_LAMP) | BIT(PW_IGNITION), T0 + 1);
	assert_int_equal(wire(PW_BEEPER)->level, 1);
	assert_int_equal(pw_board_levels(s->b), BIT(PW_BEEPER)); /* no lamp is configured */
	pw_board_drive(s->b, BIT(PW_BEEPER), T0 + 2);
	assert_int_equal(wire(PW_BEEPER)->sets, 1);
	assert_int_equal(wire(PW_HORN)->sets, 0);
	pw_board_drive(s->b, 0, T0 + 3);
	assert_int_equal(wire(PW_BEEPER)->level, 0);
	assert_int_equal(wire(PW_BEEPER)->sets, 2);
	pw_board_close(s->b);
}

static void a_lost_output_sounds_again_when_it_is_back(void **state)
{
	struct bus *s = set_up_open();

	(void)state;
	wire(PW_HORN)->set_error = ENODEV;
	pw_board_drive(s->b, BIT(PW_BEEPER) | BIT(PW_HORN), T0 + 100);
	assert_int_equal(wire(PW_BEEPER)->level, 1);
	assert_fault(s, PW_HORN,
		     "gpiochip0 line 9 for horn went away (No such device): connect the chip "
		     "again");
	assert_int_equal(pw_board_levels(s->b), BIT(PW_BEEPER));
	assert_int_equal(pw_board_next_ms(s->b), T0 + 5100);
	wire(PW_HORN)->set_error = 0;
	assert_int_equal(read_at(s, T0 + 5100), 0);
	assert_int_equal(wire(PW_HORN)->level, 1);
	assert_fault(s, PW_HORN, NULL);
	pw_board_close(s->b);
}

static void assert_all_lost(struct bus *s)
{
	for (unsigned i = 0; i < PW_LINES; i++) {
		if (!s->p.line[i].configured)
			continue;
		assert_false(wire(i)->held);
		assert_non_null(pw_board_fault(s->b, i));
	}
}

/* The kernel of Debian 12 wakes nobody when a chip goes: one line that fails gives it away. */
static void a_chip_that_goes_away_is_seen_whole_by_the_first_line_that_fails(void **state)
{
	(void)state;
	for (int by_tick = 0; by_tick <= 1; by_tick++) {
		struct bus *s = set_up_open();

		for (unsigned i = 0; i < FAKE_LINES; i++)
			wire(i)->level_error = wire(i)->set_error = ENODEV;
		fake[0].absent = true;
		if (by_tick)
			assert_int_equal(read_at(s, T0 + 60000), 0);
		else
			pw_board_drive(s->b, BIT(PW_HORN), T0 + 100);
		assert_all_lost(s);
		pw_board_close(s->b);
	}
}

static void closing_silences_and_lets_go(void **state)
{
	struct bus *s = set_up_open();

	(void)state;
	pw_board_drive(s->b, BIT(PW_BEEPER) | BIT(PW_HORN), T0);
	pw_board_close(s->b);
	assert_int_equal(wire(PW_BEEPER)->level, 0);
	assert_int_equal(wire(PW_HORN)->level, 0);
	for (unsigned i = 0; i < FAKE_LINES; i++)
		assert_false(wire(i)->held);
	pw_board_close(NULL);
}

/* -- by label ---------------------------------------------------------------------------------- */

static void by_label(struct bus *s, const char *chip)
{
	snprintf(s->p.line[PW_REAR_DOOR].label, PW_NAME_MAX, "REAR_DOOR_IN");
	snprintf(s->p.line[PW_REAR_DOOR].chip, 64, "%s", chip);
	s->p.line[PW_REAR_DOOR].offset = -1;
}

static void a_label_is_looked_for_on_all_chips(void **state)
{
	struct bus *s = set_up();

	(void)state;
	by_label(s, "");
	fake[1].line[11].label = "REAR_DOOR_IN";
	fake[1].line[11].level = 1;
	open_board(s);
	assert_fault(s, PW_REAR_DOOR, NULL);
	assert_true(fake[1].line[11].held);
	assert_int_equal(pw_board_levels(s->b), BIT(PW_REAR_DOOR));
	pw_board_close(s->b);
	s = set_up();
	by_label(s, "");
	fake[1].line[11].label = "REAR_DOOR_IN";
	fake[1].line[11].request_error = EBUSY;
	fake[1].line[11].user = "other";
	open_board(s);
	assert_fault(s, PW_REAR_DOOR,
		     "gpiochip1 line 11 for rear_door is in use by \"other\": free it or change "
		     "name");
	pw_board_close(s->b);
}

static void a_label_that_says_too_little_is_told(void **state)
{
	struct bus *s = set_up();

	(void)state;
	by_label(s, "");
	fake[1].denied = true;
	open_board(s);
	assert_fault(s, PW_REAR_DOOR,
		     "chips may not be opened to look for the line named \"REAR_DOOR_IN\" for "
		     "rear_door: let this program's user open them");
	fake[1].denied = false;
	read_at(s, T0 + 5000);
	assert_fault(s, PW_REAR_DOOR,
		     "there is no line named \"REAR_DOOR_IN\" for rear_door: connect its chip "
		     "or change name");
	wire(1)->label = fake[1].line[11].label = "REAR_DOOR_IN";
	read_at(s, T0 + 10000);
	assert_fault(s, PW_REAR_DOOR, "more than one line is named \"REAR_DOOR_IN\" for rear_door: "
				      "give chip and offset instead");
	wire(1)->label = NULL;
	read_at(s, T0 + 15000);
	assert_fault(s, PW_REAR_DOOR, NULL);
	pw_board_close(s->b);
}

static void a_label_with_a_chip_is_looked_for_there(void **state)
{
	struct bus *s = set_up();

	(void)state;
	by_label(s, "gpiochip1");
	wire(1)->label = fake[1].line[11].label = "REAR_DOOR_IN";
	open_board(s);
	assert_fault(s, PW_REAR_DOOR, NULL);
	assert_true(fake[1].line[11].held);
	pw_board_close(s->b);
}

/* -- the real library -------------------------------------------------------------------------- */

static void the_library_tells_what_is_no_chip(void **state)
{
	struct bus *s = set_up();
	char why[200] = "";

	(void)state;
	snprintf(s->p.line[PW_IGNITION].chip, 64, "gpiochip9999");
	snprintf(s->p.line[PW_REAR_BUTTON].chip, 64, "/etc/passwd");
	by_label(s, "");
	assert_int_equal(pw_board_open("gpiod", NULL, &s->p, T0, &s->b, why, sizeof(why)), 0);
	assert_fault(s, PW_IGNITION, "gpiochip9999 line 0 for ignition is not there: connect the "
				     "chip or change chip");
	assert_fault(s, PW_REAR_BUTTON,
		     "passwd line 2 for rear_button is not on a GPIO chip: connect the chip or "
		     "change chip");
	assert_non_null(strstr(pw_board_fault(s->b, PW_REAR_DOOR), "\"REAR_DOOR_IN\" for"));
	assert_int_equal(pw_board_levels(s->b), 0);
	pw_board_close(s->b);
}

static int open_files(void)
{
	DIR *dir = opendir("/proc/self/fd");
	int n = 0;

	assert_non_null(dir);
	while (readdir(dir))
		n++;
	closedir(dir);
	return n;
}

static void trying_again_leaks_no_descriptor(void **state)
{
	struct bus *s = set_up();
	int before = open_files();
	char why[200] = "";

	(void)state;
	snprintf(s->p.line[PW_IGNITION].chip, 64, "/etc/passwd");
	assert_int_equal(pw_board_open("gpiod", NULL, &s->p, T0, &s->b, why, sizeof(why)), 0);
	for (int64_t i = 1; i < 50; i++)
		read_at(s, T0 + i * 5000);
	pw_board_close(s->b);
	assert_int_equal(open_files(), before);
}

static void an_unknown_kind_is_refused(void **state)
{
	struct bus *s = set_up();
	char why[200] = "";

	(void)state;
	assert_int_equal(pw_board_open("relay", NULL, &s->p, T0, &s->b, why, sizeof(why)), -1);
	assert_string_equal(why, "no kind of board is named \"relay\": expected gpiod or bench");
	assert_null(s->b);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(each_refusal_has_its_words),
		cmocka_unit_test(places_that_are_not_there_are_told),
		cmocka_unit_test(a_line_is_tried_again_and_the_others_go_on),
		cmocka_unit_test(a_lost_line_keeps_its_level_and_comes_back),
		cmocka_unit_test(outputs_are_driven_by_difference),
		cmocka_unit_test(a_lost_output_sounds_again_when_it_is_back),
		cmocka_unit_test(
			a_chip_that_goes_away_is_seen_whole_by_the_first_line_that_fails),
		cmocka_unit_test(closing_silences_and_lets_go),
		cmocka_unit_test(a_label_is_looked_for_on_all_chips),
		cmocka_unit_test(a_label_that_says_too_little_is_told),
		cmocka_unit_test(a_label_with_a_chip_is_looked_for_there),
		cmocka_unit_test(the_library_tells_what_is_no_chip),
		cmocka_unit_test(trying_again_leaks_no_descriptor),
		cmocka_unit_test(an_unknown_kind_is_refused),
	};

	return cmocka_run_group_tests_name("board: lines", tests, NULL, NULL);
}
