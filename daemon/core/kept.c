/* SPDX-License-Identifier: Apache-2.0 */
/* What is kept across a loss of power (R20), as a table; refusals stand beside it. */
#include "core_internal.h"

#define F(type_, field) { #field, offsetof(struct pw_state, field), PW_FIELD_##type_ }
#define LEVEL(up, low, settle) \
	{ "level." #low, offsetof(struct pw_state, input[PW_##up].level), PW_FIELD_U8 },

const struct pw_field pw_kept[] = {
	F(U32, phase),
	F(BOOL, carried),
	F(BOOL, lamps_used),
	F(BOOL, gap_mark),
	F(TIME, key_on_ms),
	F(BOOL, watch.on),
	F(BOOL, watch.spent),
	F(TIME, watch.begin_ms),
	F(TIME, watch.door_ms),
	PW_INPUT_LIST(LEVEL)
	F(TIME, sweep.t0_ms),
	F(TIME, sweep.due_ms),
	F(TIME, sweep.basis_ms),
	F(TIME, sweep.press_ms),
	F(TIME, sweep.ladder_ms),
	F(TIME, sweep.door_opened_ms),
	F(BOOL, sweep.door_unloading),
	F(BOOL, sweep.door_had),
	F(BOOL, sweep.door_event),
	F(BOOL, sweep.left_running),
	F(BOOL, sweep.key_fell),
	F(U32, sweep.findings),
	F(U32, sweep.rung),
	F(U32, sweep.refused),
	/* a difference, not a moment: it must not be shifted */
	{ "sweep.late_ms", offsetof(struct pw_state, sweep.late_ms), PW_FIELD_SPAN },
};
const size_t pw_kept_count = sizeof(pw_kept) / sizeof(pw_kept[0]);
