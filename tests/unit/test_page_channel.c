/* SPDX-License-Identifier: Apache-2.0 */
/* What crosses between the watch and its page is looked at before it is read. */
#include "page_sample.h"

static void a_strange_snapshot_is_refused(void **state)
{
	struct pw_snapshot good = sample(), s = good;

	(void)state;
	assert_true(pw_snapshot_ok(&s));
#define REFUSED(change)                                \
	do {                                           \
		s = good;                              \
		change;                                \
		assert_false(pw_snapshot_ok(&s));      \
	} while (0)
	REFUSED(s.version++);
	REFUSED(s.version = 0);
	REFUSED(s.size--);
	REFUSED(s.phase = PW_PHASES);
	REFUSED(s.phase = 0);
	REFUSED(s.fault_count = PW_FAULTS_SHOWN + 1);
	REFUSED(s.recent_count = PW_RECENT_MAX + 1);
	REFUSED(s.recent[1].verdict = 0);
	REFUSED(memset(s.bus, 'x', sizeof s.bus));
	REFUSED(memset(s.rung, 'x', sizeof s.rung));
	REFUSED(memset(s.line[3].name, 'x', sizeof s.line[3].name));
	REFUSED(memset(s.line[3].fault, 'x', sizeof s.line[3].fault));
	REFUSED((s.fault_count = 1, memset(s.fault[0].words, 'x', sizeof s.fault[0].words)));
	REFUSED(memset(s.call, 'x', sizeof s.call));
	REFUSED(s.trial_line = PW_LINES);
	REFUSED(s.day.proofs = PW_LINES + 1);
	REFUSED(s.day.proofs = 1); /* how is none */
	REFUSED(s.day.defects = PW_DEFECTS_MAX + 1);
	REFUSED((s.day.defects = 1, memset(s.day.defect[0].words, 'x', sizeof s.day.defect[0].words)));
	REFUSED(s.day.found.what = PW_FOUND_WHATS);
	REFUSED(memset(s.day.report.who, 'x', sizeof s.day.report.who));
}

/* Every length but its own, and every kind but ours. */
static void a_reply_of_another_shape_is_none(void **state)
{
	static struct pw_reply r;
	const struct { enum pw_reply_kind kind; size_t size; } shape[] = {
		{ PW_REPLY_SNAPSHOT, PW_REPLY_SIZE(snapshot) },
		{ PW_REPLY_WIRES, PW_REPLY_SIZE(wires) },
		{ PW_REPLY_ACT, PW_REPLY_SIZE(done) },
	};

	(void)state;
	for (size_t i = 0; i < sizeof shape / sizeof shape[0]; i++) {
		memset(&r, 0, sizeof r);
		r.head.version = PW_SNAPSHOT_VERSION;
		r.head.kind = shape[i].kind;
		if (r.head.kind == PW_REPLY_SNAPSHOT)
			r.of.snapshot = sample();
		else if (r.head.kind == PW_REPLY_WIRES)
			r.of.wires = sample_wires();
		else
			r.of.done = sample_done();
		for (size_t size = 0; size <= sizeof r; size++) {
			r.head.size = (uint32_t)size;
			assert_int_equal(pw_reply_ok(&r, size), size == shape[i].size);
		}
		r.head.size = (uint32_t)shape[i].size;
		assert_false(pw_reply_ok(&r, shape[i].size - 1));
		r.head.kind = 0;
		assert_false(pw_reply_ok(&r, shape[i].size));
		r.head.kind = shape[i].kind;
		r.head.version++;
		assert_false(pw_reply_ok(&r, shape[i].size));
	}
}

static void strange_wires_are_refused(void **state)
{
	struct pw_wires good = sample_wires(), w;

	(void)state;
	assert_true(pw_wires_ok(&good));
#define NO_WIRES(change)                       \
	do {                                   \
		w = good;                      \
		change;                        \
		assert_false(pw_wires_ok(&w)); \
	} while (0)
	NO_WIRES(w.version++);
	NO_WIRES(w.size--);
	NO_WIRES(memset(w.wire[2].name, 'x', sizeof w.wire[2].name));
	NO_WIRES(w.wire[2].tail = PW_TAIL_MAX + 1);
	NO_WIRES(w.wire[2].verdict = PW_WIRE_VERDICTS);
	NO_WIRES(w.wiring.steps = PW_WIRING_STEPS + 1);
	NO_WIRES(w.wiring.at = 1);
	NO_WIRES(w.wiring.look.line = PW_LINES);
	NO_WIRES((w.wiring.steps = 1, w.wiring.step[0].result = PW_WIRING_RESULTS));
}

static void strange_calls_are_refused(void **state)
{
	struct pw_call good = { .version = PW_SNAPSHOT_VERSION, .size = sizeof good,
				.kind = PW_CALL_ACT, .act = { .kind = PW_A_FOUND } }, c;

	(void)state;
	assert_true(pw_call_ok(&good, sizeof good));
	assert_false(pw_call_ok(&good, sizeof good - 1));
	assert_false(pw_call_ok(&good, 4));
#define NO_CALL(change)                                  \
	do {                                             \
		c = good;                                \
		change;                                  \
		assert_false(pw_call_ok(&c, sizeof c));  \
	} while (0)
	NO_CALL(c.version++);
	NO_CALL(c.size++);
	NO_CALL(c.kind = 0);
	NO_CALL(c.kind = PW_CALL_ACT + 1);
	NO_CALL(c.act.kind = 0);
	NO_CALL(c.act.kind = PW_ACTS);
	NO_CALL(c.act.line = PW_LINES);
	NO_CALL(memset(c.act.session, 'x', sizeof c.act.session));
	NO_CALL(memset(c.act.pin, 'x', sizeof c.act.pin));
	NO_CALL(memset(c.act.who, 'x', sizeof c.act.who));
	NO_CALL(memset(c.act.words, 'x', sizeof c.act.words));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(a_strange_snapshot_is_refused),
		cmocka_unit_test(a_reply_of_another_shape_is_none),
		cmocka_unit_test(strange_wires_are_refused),
		cmocka_unit_test(strange_calls_are_refused),
	};

	return cmocka_run_group_tests_name("page: its channel", tests, NULL, NULL);
}
