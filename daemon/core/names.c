/* SPDX-License-Identifier: Apache-2.0 */
#include "core_internal.h"

const char *pw_phase_name(enum pw_phase phase)
{
	static const char *const name[PW_PHASES] = {
		[PW_PARKED] = "parked", [PW_DRIVING] = "driving", [PW_OWED] = "owed",
		[PW_OVERDUE] = "overdue", [PW_WALK_BACK] = "walk_back",
	};

	return name[phase];
}

const char *pw_verdict_name(enum pw_verdict verdict)
{
	static const char *const name[] = {
		[PW_DONE] = "done", [PW_LATE] = "late", [PW_DOUBTFUL] = "doubtful",
		[PW_MISSED] = "missed",
	};

	return name[verdict];
}

const char *pw_why_name(enum pw_why why)
{
	return why == PW_REAR_OPEN ? "rear_open" : "too_soon";
}

const char *pw_fault_name(enum pw_fault fault)
{
	return fault == PW_BUTTON_HELD ? "button_held" : "button_contacts";
}

const char *pw_finding_name(enum pw_finding finding)
{
	static const char *const name[PW_FINDINGS] = {
#define X(up, low) [PW_F_##up] = #low,
		PW_FINDING_LIST(X)
#undef X
	};

	return name[finding];
}
