/* SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "journal_internal.h"

const char *pw_words_input(enum pw_line input)
{
	static const char *const name[PW_INPUTS] = {
		[PW_IGNITION] = "key", [PW_PARK_BRAKE] = "parking brake",
		[PW_REAR_BUTTON] = "rear button",
		[PW_REAR_BUTTON_NC] = "rear button (second contact)",
		[PW_REAR_DOOR] = "rear door", [PW_EXITS] = "emergency exits",
		[PW_SERVICE_DOOR] = "service door", [PW_LAMPS] = "red lamps",
	};

	return name[input];
}

const char *pw_words_level(enum pw_line input, bool level)
{
	static const char *const words[PW_INPUTS][2] = {
		[PW_IGNITION] = { "off", "on" }, [PW_PARK_BRAKE] = { "released", "set" },
		[PW_REAR_BUTTON] = { "released", "pressed" },
		[PW_REAR_BUTTON_NC] = { "pressed", "released" },
		[PW_REAR_DOOR] = { "shut", "open" }, [PW_EXITS] = { "shut", "open" },
		[PW_SERVICE_DOOR] = { "shut", "open" }, [PW_LAMPS] = { "dark", "lit" },
	};

	return words[input][level];
}

const char *pw_words_finding(enum pw_finding finding)
{
	static const char *const words[PW_FINDINGS] = {
		[PW_F_ALARM_SPENT] = "the alarm sounded as long as it may",
		[PW_F_BUTTON_CONTACTS] = "the button's two contacts disagreed",
		[PW_F_BUTTON_HELD] = "the button was held down",
		[PW_F_CARRIED] = "the sweep before was missed",
		[PW_F_CLOCK_UNSURE] = "the clock was unsure over a power cut",
		[PW_F_DOOR_BEFORE_PRESS] = "the door was used before a press",
		[PW_F_DOOR_LEFT_OPEN] = "the service door was left open",
		[PW_F_DRIVEN_OFF] = "driven off before a press",
		[PW_F_EXIT_UNSEEN] = "leaving by the service door was not seen",
		[PW_F_LEFT_BY_REAR] = "a rear door or exit opened on the way back",
		[PW_F_LEFT_RUNNING] = "the engine was left running",
		[PW_F_MUTED] = "sounds were muted for service",
		[PW_F_POWER_LOST] = "power was lost",
		[PW_F_POWERED_DOWN] = "the battery switch was opened on leaving",
		[PW_F_REAR_OPENED] = "a rear door or exit was opened",
		[PW_F_RETURN_SHORT] = "too soon at the door for a second look",
	};

	return words[finding];
}

const char *pw_words_why(enum pw_why why)
{
	return why == PW_REAR_OPEN ? "a rear door or exit was open" : "too soon";
}

const char *pw_words_reset(const char *reset)
{
	static const char *const words[][2] = {
		{ "orderly", "the watch was stopped" },
		{ "process", "the watch's program ended" },
		{ "watchdog", "the machine's watchdog reset it" },
	};

	for (size_t i = 0; i < sizeof(words) / sizeof(words[0]); i++)
		if (strcmp(words[i][0], reset) == 0)
			return words[i][1];
	return "power went";
}

void pw_put_findings(struct pw_saying *o, uint32_t findings)
{
	const char *between = "";

	for (unsigned i = 0; i < PW_FINDINGS; i++) {
		if (!(findings >> i & 1))
			continue;
		pw_put(o, "%s%s", between, pw_words_finding((enum pw_finding)i));
		between = ", ";
	}
}
