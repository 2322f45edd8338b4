/* SPDX-License-Identifier: Apache-2.0 */
/* What the driver's own round proves (docs/journal.md, `proof`), and an output that is
 * tried: it yields to the rules. */
#include "bus_stage.h"

#define stage_test(f) cmocka_unit_test_setup_teardown(f, stage_setup, stage_teardown)

#define DAY_MS INT64_C(86400000) /* proof_s by default */

static enum pw_proof_how proof_of(struct stage *s, const char *line)
{
	const struct pw_proof *proof = pw_day_proof(&s->bus.day, line);

	return proof ? proof->how : 0;
}

static enum pw_answer try_out(struct stage *s, uint8_t line)
{
	enum pw_answer answer = stage_act(s, (struct pw_act){ .kind = PW_A_TRY, .line = line });

	pw_signals_drive(&s->bus);
	return answer;
}

static enum pw_answer heard(struct stage *s, uint8_t line, bool yes)
{
	return stage_act(s, (struct pw_act){ .kind = PW_A_HEARD, .line = line, .yes = yes });
}

static bool fault_stands(struct stage *s, const char *name)
{
	for (uint32_t i = 0; i < s->bus.faults; i++)
		if (strcmp(s->bus.fault[i].name, name) == 0)
			return true;
	return false;
}

/* Opened and shut, well settled. */
static void swing(struct stage *s, unsigned line, int64_t at_ms)
{
	stage_level(s, line, 1, at_ms);
	stage_level(s, line, 0, at_ms + 1000);
	stage_until(s, at_ms + 2000);
}

/* -- lines ------------------------------------------------------------------------------------- */

static void a_line_is_proven_when_it_has_gone_both_ways(void **state)
{
	struct stage *s = *state;

	stage_level(s, PW_REAR_DOOR, 1, 2000);
	stage_until(s, 3000);
	assert_int_equal(proof_of(s, "rear_door"), 0);
	stage_level(s, PW_REAR_DOOR, 0, 4000);
	stage_until(s, 4099);
	assert_int_equal(proof_of(s, "rear_door"), 0);
	stage_until(s, 4100); /* settled */
	assert_int_equal(proof_of(s, "rear_door"), PW_MOVED);
	assert_string_equal(stage_told(s, "proof"), "{\"line\":\"rear_door\",\"how\":\"moved\"}");
}

/* One contact that moved and bounced has been seen to move one way. */
static void a_bounce_proves_nothing(void **state)
{
	struct stage *s = *state;

	for (int i = 0; i < 7; i++)
		stage_level(s, PW_REAR_DOOR, i % 2 == 0, 2000 + 5 * i);
	stage_until(s, 5000);
	assert_int_equal(s->bus.state.input[PW_REAR_DOOR].level, 1);
	assert_int_equal(proof_of(s, "rear_door"), 0);
}

static void both_contacts_of_the_button_are_proven_by_a_press(void **state)
{
	struct stage *s = *state;

	stage_level(s, PW_REAR_BUTTON, 1, 2000);
	stage_level(s, PW_REAR_BUTTON_NC, 0, 2001);
	stage_level(s, PW_REAR_BUTTON_NC, 1, 2500);
	stage_until(s, 3000);
	assert_int_equal(proof_of(s, "rear_button_nc"), PW_MOVED);
	assert_int_equal(proof_of(s, "rear_button"), 0); /* it is stuck at 1 */
	stage_level(s, PW_REAR_BUTTON, 0, 4000);
	stage_until(s, 5000);
	assert_int_equal(proof_of(s, "rear_button"), PW_MOVED);
}

/* Again after a sixth of proof_s, and by moves of its own. */
static void a_proof_is_told_again_after_a_sixth_of_its_time(void **state)
{
	struct stage *s = *state;

	swing(s, PW_REAR_DOOR, 2000); /* proven at 3100 */
	swing(s, PW_REAR_DOOR, 60000);
	stage_until(s, DAY_MS / 6 + 10000);
	assert_int_equal(pw_day_proof(&s->bus.day, "rear_door")->wall_ms, STAGE_WALL_MS + 3100);
	stage_level(s, PW_REAR_DOOR, 1, DAY_MS / 6 + 20000);
	stage_until(s, DAY_MS / 6 + 21000);
	assert_int_equal(pw_day_proof(&s->bus.day, "rear_door")->wall_ms, STAGE_WALL_MS + 3100);
	stage_level(s, PW_REAR_DOOR, 0, DAY_MS / 6 + 22000);
	stage_until(s, DAY_MS / 6 + 23000);
	assert_int_equal(pw_day_proof(&s->bus.day, "rear_door")->wall_ms,
			 STAGE_WALL_MS + DAY_MS / 6 + 22100);
	assert_string_equal(stage_told(s, "proof"), "{\"line\":\"rear_door\",\"how\":\"moved\"} "
						    "{\"line\":\"rear_door\",\"how\":\"moved\"}");
}

static void a_half_way_before_the_restart_is_no_proof_and_a_proof_is_kept(void **state)
{
	struct stage *s = *state;

	swing(s, PW_SERVICE_DOOR, 2000);
	stage_level(s, PW_REAR_DOOR, 1, 5000);
	stage_until(s, 6000);
	stage_stop(s);
	stage_start(s, 10000); /* the rear door is shut again */
	stage_until(s, 12000);
	assert_int_equal(proof_of(s, "service_door"), PW_MOVED);
	assert_int_equal(proof_of(s, "rear_door"), 0);
	swing(s, PW_SERVICE_DOOR, 13000); /* it is as good as a while ago */
	assert_string_equal(stage_told(s, "proof"), "{\"line\":\"service_door\",\"how\":\"moved\"}");
}

/* -- an output that is tried ------------------------------------------------------------------- */

static void it_sounds_for_two_seconds_and_ends_by_itself(void **state)
{
	struct stage *s = *state;

	stage_until(s, 2000);
	assert_int_equal(try_out(s, PW_BEEPER), PW_DONE_SO);
	assert_int_equal(s->bus.outputs, 1u << PW_BEEPER);
	assert_int_equal(pw_signals_next_ms(&s->bus), 4000);
	stage_until(s, 3999);
	assert_int_equal(s->bus.outputs, 1u << PW_BEEPER);
	stage_until(s, 4000);
	assert_int_equal(s->bus.outputs, 0);
	assert_int_equal(s->bus.trial.end_ms, 0);
}

static void it_ends_at_once_when_a_sweep_opens(void **state)
{
	struct stage *s = *state;

	stage_phase(s, PW_DRIVING); /* at 22000; the key goes off */
	stage_level(s, PW_IGNITION, 0, 40000);
	stage_until(s, 40100);
	assert_int_equal(try_out(s, PW_DOME), PW_DONE_SO);
	assert_int_equal(s->bus.outputs & 1u << PW_DOME, 1u << PW_DOME);
	assert_int_equal(try_out(s, PW_BEEPER), PW_DONE_SO); /* one at a time */
	assert_int_equal(s->bus.outputs & (1u << PW_DOME | 1u << PW_BEEPER), 1u << PW_BEEPER);
	stage_until(s, 40200);
	assert_int_equal(s->bus.state.phase, PW_OWED);
	assert_int_equal(s->bus.trial.end_ms, 0);
	assert_int_equal(s->bus.state.sounding, PW_PROMPT);
}

/* R19: the horn never sounds while the key is on, unless the brake is set. */
static void the_horn_ends_at_once_when_the_key_comes_on(void **state)
{
	struct stage *s = *state;

	stage_until(s, 2000);
	assert_int_equal(try_out(s, PW_HORN), PW_DONE_SO);
	stage_level(s, PW_IGNITION, 1, 2500);
	stage_until(s, 2699);
	assert_int_equal(s->bus.outputs & 1u << PW_HORN, 1u << PW_HORN);
	stage_until(s, 2700);
	assert_int_equal(s->bus.outputs & 1u << PW_HORN, 0);
	assert_int_equal(try_out(s, PW_HORN), PW_NOT_NOW);
	stage_level(s, PW_PARK_BRAKE, 1, 5000);
	stage_until(s, 6000);
	assert_int_equal(try_out(s, PW_HORN), PW_DONE_SO);
	stage_level(s, PW_PARK_BRAKE, 0, 6500);
	stage_until(s, 6700);
	assert_int_equal(s->bus.outputs & 1u << PW_HORN, 0);
}

/* -- outputs proven ---------------------------------------------------------------------------- */

static void an_ear_proves_a_signal_that_was_tried(void **state)
{
	struct stage *s = *state;

	assert_int_equal(heard(s, PW_BEEPER, true), PW_NOT_NOW);
	try_out(s, PW_BEEPER);
	assert_int_equal(heard(s, PW_LAMP, true), PW_NOT_NOW);
	assert_int_equal(heard(s, PW_BEEPER, true), PW_DONE_SO);
	assert_int_equal(proof_of(s, "beeper"), PW_HEARD);
	assert_int_equal(heard(s, PW_BEEPER, false), PW_DONE_SO);
	assert_int_equal(proof_of(s, "beeper"), PW_NOT_HEARD);
	assert_true(fault_stands(s, "unheard_beeper"));
	stage_wake(s, 2000);
	stage_stop(s);
	stage_start(s, 5000); /* it stands until the beeper is heard */
	assert_true(fault_stands(s, "unheard_beeper"));
	try_out(s, PW_BEEPER);
	assert_int_equal(heard(s, PW_BEEPER, true), PW_DONE_SO);
	assert_false(fault_stands(s, "unheard_beeper"));
	assert_string_equal(stage_told(s, "proof"), "{\"line\":\"beeper\",\"how\":\"heard\"} "
						    "{\"line\":\"beeper\",\"how\":\"not_heard\"} "
						    "{\"line\":\"beeper\",\"how\":\"heard\"}");
}

static void a_sense_proves_the_horn(void **state)
{
	struct stage *s = *state;

	stage_until(s, 2000);
	try_out(s, PW_HORN);
	heard(s, PW_HORN, false);
	assert_true(fault_stands(s, "unheard_horn"));
	stage_level(s, PW_EXTRA, 1, 2010);
	assert_int_equal(proof_of(s, "horn"), PW_SENSED);
	assert_false(fault_stands(s, "unheard_horn"));
	stage_until(s, 4000);
	stage_level(s, PW_EXTRA, 0, 4010);
	assert_false(fault_stands(s, "silent_horn"));
	assert_int_equal(proof_of(s, "horn_sense"), PW_MOVED);
}

/* A sense that reads 1 without the horn tells nothing of the horn. */
static void a_sense_that_is_stuck_proves_nothing(void **state)
{
	struct stage *s = *state;

	s->bus.board->levels |= 1u << PW_EXTRA;
	pw_proofs_begin(&s->bus);
	stage_until(s, 2000);
	try_out(s, PW_HORN);
	stage_until(s, 5000);
	assert_int_equal(proof_of(s, "horn"), 0);
}

static void a_horn_that_is_tried_and_not_sensed_is_a_fault(void **state)
{
	struct stage *s = *state;

	stage_until(s, 2000);
	try_out(s, PW_HORN);
	stage_until(s, 3999);
	assert_false(fault_stands(s, "silent_horn"));
	stage_until(s, 4000);
	assert_true(fault_stands(s, "silent_horn"));
	stage_until(s, 5000);
	try_out(s, PW_HORN);
	stage_level(s, PW_EXTRA, 1, 5010);
	assert_false(fault_stands(s, "silent_horn"));
}

/* -- raw edges --------------------------------------------------------------------------------- */

static void wires_see_every_raw_edge_of_inputs_senses_and_outputs(void **state)
{
	struct stage *s = *state;
	const struct pw_wire *w = s->bus.wires.wire;

	assert_string_equal(w[PW_REAR_DOOR].name, "rear_door");
	for (int i = 0; i < 7; i++)
		stage_level(s, PW_REAR_DOOR, i % 2 == 0, 2000 + 5 * i);
	try_out(s, PW_HORN);
	stage_level(s, PW_EXTRA, 1, 2500);
	stage_until(s, 6000);
	assert_int_equal(w[PW_REAR_DOOR].count, 7);
	assert_int_equal(w[PW_REAR_DOOR].at_ms[6], 2030);
	assert_int_equal(w[PW_EXTRA].count, 1);
	assert_int_equal(w[PW_HORN].count, 2);
	assert_int_equal(w[PW_HORN].at_ms[1] - w[PW_HORN].at_ms[0], PW_TRIAL_MS);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		stage_test(a_line_is_proven_when_it_has_gone_both_ways),
		stage_test(a_bounce_proves_nothing),
		stage_test(both_contacts_of_the_button_are_proven_by_a_press),
		stage_test(a_proof_is_told_again_after_a_sixth_of_its_time),
		stage_test(a_half_way_before_the_restart_is_no_proof_and_a_proof_is_kept),
		stage_test(it_sounds_for_two_seconds_and_ends_by_itself),
		stage_test(it_ends_at_once_when_a_sweep_opens),
		stage_test(the_horn_ends_at_once_when_the_key_comes_on),
		stage_test(an_ear_proves_a_signal_that_was_tried),
		stage_test(a_sense_proves_the_horn),
		stage_test(a_sense_that_is_stuck_proves_nothing),
		stage_test(a_horn_that_is_tried_and_not_sensed_is_a_fault),
		stage_test(wires_see_every_raw_edge_of_inputs_senses_and_outputs),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
