/* SPDX-License-Identifier: Apache-2.0 */
/* What the office is told of at once (R17), and the fault `delivery`. */
#include "record_uplink.h"

#include "bus_stage.h"

#define stage_test(f) cmocka_unit_test_setup_teardown(f, stage_setup, stage_teardown)

/* -- the fault --------------------------------------------------------------------------------- */

static void turn_once(struct stage *s)
{
	struct pollfd one = { .fd = pw_writer_fd(s->bus.writer), .events = POLLIN };

	poll(&one, 1, PATIENCE_MS);
	pw_writer_tend(s->bus.writer, s->bus.now_ms);
}

/* The writer listens once it has what this start kept. */
static struct uplink connected(struct stage *s)
{
	const int64_t deadline_ms = real_ms() + PATIENCE_MS;

	while (pw_writer_seq(s->bus.writer) == 0) {
		assert_true(real_ms() < deadline_ms);
		turn_once(s);
	}
	return uplink_open(&s->f);
}

/* The uplink says so, and the watch has heard it. */
static void says(struct stage *s, struct uplink *u, enum pw_delivery_state state, const char *words)
{
	const int64_t deadline_ms = real_ms() + PATIENCE_MS;
	const struct pw_delivery *d = pw_writer_delivery(s->bus.writer);
	struct pw_hand h = hand(PW_H_SAYS);

	h.state = (uint8_t)state;
	snprintf(h.words, sizeof(h.words), "%s", words);
	uplink_send(u, &h);
	while (d->state != state || strcmp(d->words, words) != 0) {
		assert_true(real_ms() < deadline_ms);
		turn_once(s);
	}
}

static const char *fault_at(struct stage *s, int64_t at_ms)
{
	stage_wake(s, at_ms);
	pw_faults_look(&s->bus);
	for (uint32_t i = 0; i < s->bus.faults; i++)
		if (strcmp(s->bus.fault[i].name, "delivery") == 0)
			return s->bus.fault[i].words;
	return NULL;
}

/* A minute of it makes the fault; all delivered for a minute ends it; being away changes nothing. */
static void refused_for_a_minute_is_a_fault(void **state)
{
	struct stage *s = *state;
	struct uplink u = connected(s);

	says(s, &u, PW_D_REFUSED, "no such bus");
	assert_null(fault_at(s, 10000));
	assert_int_equal(pw_faults_next_ms(&s->bus), 70000);
	assert_null(fault_at(s, 69999));
	assert_string_equal(fault_at(s, 70000), "no such bus");
	assert_true(pw_faults_next_ms(&s->bus) == PW_NEVER);
	says(s, &u, PW_D_REFUSED, "another certificate"); /* it is the same fault */
	assert_string_equal(fault_at(s, 80000), "another certificate");
	says(s, &u, PW_D_AWAY, "");
	assert_string_equal(fault_at(s, 90000), "another certificate");
	says(s, &u, PW_D_SENDING, "");
	assert_string_equal(fault_at(s, 500000), "another certificate");
	says(s, &u, PW_D_DONE, "");
	assert_non_null(fault_at(s, 600000));
	assert_non_null(fault_at(s, 659999));
	assert_null(fault_at(s, 660000));
	uplink_close(&u);
	assert_string_equal(stage_told(s, "fault"),
		"{\"name\":\"delivery\",\"on\":true,\"at_ms\":70000,\"words\":\"no such bus\"} "
		"{\"name\":\"delivery\",\"on\":false,\"at_ms\":660000,\"words\":\"another certificate\"}");
}

/* So that an uplink that cannot make up its mind does not fill the journal. */
static void one_that_comes_and_goes_is_none(void **state)
{
	struct stage *s = *state;
	struct uplink u = connected(s);

	for (int i = 0; i < 8; i++) {
		says(s, &u, i % 2 ? PW_D_AWAY : PW_D_REFUSED, "");
		assert_null(fault_at(s, 10000 + i * 59000));
	}
	uplink_close(&u);
	assert_string_equal(stage_told(s, "fault"), "");
}

/* It says nothing to the rules: no signal, no finding. And without words of its own it has ours. */
static void it_sounds_nothing(void **state)
{
	struct stage *s = *state;
	struct uplink u = connected(s);

	says(s, &u, PW_D_REFUSED, "");
	fault_at(s, 10000);
	assert_string_equal(fault_at(s, 70000), "the office refuses what this bus delivers");
	assert_int_equal(s->bus.outputs, 0);
	assert_int_equal(s->bus.state.sounding, PW_SIGNAL_NONE);
	assert_int_equal(s->bus.state.phase, PW_PARKED);
	uplink_close(&u);
}

/* Nobody delivers any more: nobody refuses. */
static void an_uplink_that_is_gone(void **state)
{
	struct stage *s = *state;
	struct uplink u = connected(s);
	const int64_t deadline_ms = real_ms() + PATIENCE_MS;

	says(s, &u, PW_D_REFUSED, "no such bus");
	fault_at(s, 10000);
	assert_non_null(fault_at(s, 70000));
	uplink_close(&u);
	while (pw_writer_delivery(s->bus.writer)->state != PW_D_NONE) {
		assert_true(real_ms() < deadline_ms);
		turn_once(s);
	}
	assert_non_null(fault_at(s, 100000));
	assert_null(fault_at(s, 160000));
}

/* -- what the office is told ------------------------------------------------------------------- */

static void effect(struct stage *s, enum pw_effect_kind kind, enum pw_signal rung)
{
	pw_effect_take(&s->bus, &(struct pw_effect){ .kind = kind, .rung = rung, .at_ms = 1000 });
}

#define RUNG(name) "{\"name\":\"" name "\",\"at_ms\":1000}"
#define TOLD(name) "{\"name\":\"" name "\",\"at_ms\":1000,\"notify\":true}"

/* R17: one record, that tells of both. */
static void a_rung_is_told_with_its_record(void **state)
{
	struct stage *s = *state;

	effect(s, PW_E_RUNG, PW_LADDER);
	effect(s, PW_E_NOTIFY, PW_LADDER + 1);
	effect(s, PW_E_RUNG, PW_LADDER + 1);
	effect(s, PW_E_RUNG, PW_SIGNAL_NONE);
	effect(s, PW_E_RUNG, PW_LADDER + 1); /* after a gap it sounds again, and was told already */
	s->bus.keep = true;
	assert_string_equal(stage_told(s, "rung"), RUNG("cabin") " " TOLD("office") " " RUNG("none") " "
			    RUNG("office"));
}

/* Should another sound in its place, each has its record: what is to be told is not lost. */
static void one_that_does_not_sound_is_told_all_the_same(void **state)
{
	struct stage *s = *state;

	effect(s, PW_E_NOTIFY, PW_LADDER + 1);
	effect(s, PW_E_RUNG, PW_LADDER);
	effect(s, PW_E_NOTIFY, PW_LADDER + 1);
	effect(s, PW_E_RUNG, PW_SIGNAL_NONE);
	s->bus.keep = true;
	assert_string_equal(stage_told(s, "rung"), TOLD("office") " " RUNG("cabin") " " TOLD("office") " "
			    RUNG("none"));
}

/* All the way: an overdue sweep climbs to the rung of the office. */
static void a_sweep_that_nobody_walks(void **state)
{
	struct stage *s = *state;
	char *told;

	stage_level(s, PW_IGNITION, 1, 2000);
	stage_until(s, 3000);
	stage_level(s, PW_LAMPS, 1, 4000);
	stage_until(s, 5000);
	stage_level(s, PW_LAMPS, 0, 6000);
	stage_level(s, PW_IGNITION, 0, 20000);
	stage_until(s, 200000);
	assert_int_equal(s->bus.state.phase, PW_OVERDUE);
	told = strdup(stage_told(s, "rung"));
	assert_non_null(strstr(told, "{\"name\":\"office\",\"at_ms\":140000,\"notify\":true}"));
	assert_null(strstr(strstr(told, "notify") + 1, "notify"));
	free(told);
	assert_int_equal(count_of(&s->f, "SELECT count(*) FROM record AS r JOIN seal USING (seq)"
					 " WHERE kind = 'rung' AND body LIKE '%notify%'"), 1);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		stage_test(refused_for_a_minute_is_a_fault),
		stage_test(one_that_comes_and_goes_is_none),
		stage_test(it_sounds_nothing),
		stage_test(an_uplink_that_is_gone),
		stage_test(a_rung_is_told_with_its_record),
		stage_test(one_that_does_not_sound_is_told_all_the_same),
		stage_test(a_sweep_that_nobody_walks),
	};

	disk_make();
	return cmocka_run_group_tests(tests, NULL, NULL);
}
