/* SPDX-License-Identifier: Apache-2.0 */
/* What a step of the walk through the wiring saw, in a sentence that names the right line. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "../../daemon/page/leaf.h"
#include "board_harness.h"

/* The sentence of the button's first step, with this wrong. */
static const char *saw(enum harness_wrong wrong, unsigned a, unsigned b)
{
	static char text[400];
	struct pw_sheet t;
	struct harness h;

	harness_begin(&h, wrong, a, b);
	pw_wiring_begin(&h.wires, h.now_ms);
	while (h.wires.wiring.step[h.wires.wiring.at].line != PW_REAR_BUTTON)
		assert_true(pw_wiring_skip(&h.wires, h.now_ms));
	h.now_ms += 5000;
	harness_move(&h, PW_REAR_BUTTON, 1, 2);
	h.now_ms += 5000;
	pw_wires_judge(&h.wires, 0, 10000, h.now_ms);
	pw_sheet_open(&t, text, sizeof(text));
	pw_put_saw(&t, &h.wires, &h.wires.wiring.look);
	return text;
}

#define HAS(text, part) assert_non_null(strstr(text, part))

static void the_line_that_did_not_move_is_named(void **state)
{
	(void)state;
	HAS(saw(WIRED_WELL, PW_INPUTS, PW_INPUTS), "3 edges on rear_button. Right");
	HAS(saw(OPEN_LOW, PW_REAR_BUTTON, PW_INPUTS), "nothing on rear_button:");
	HAS(saw(OPEN_LOW, PW_REAR_BUTTON_NC, PW_INPUTS), "nothing on rear_button_nc:");
	HAS(saw(SWAPPED, PW_REAR_BUTTON, PW_SERVICE_DOOR),
	    "nothing on rear_button, 3 edges on service_door");
	HAS(saw(SWAPPED, PW_REAR_BUTTON_NC, PW_SERVICE_DOOR),
	    "nothing on rear_button_nc, 3 edges on service_door");
	HAS(saw(SHORTED, PW_REAR_BUTTON, PW_REAR_DOOR), "3 edges on rear_door");
	HAS(saw(CROSSTALK, PW_REAR_BUTTON, PW_LAMPS), "2 edges on lamps");
}

/* Both contacts moved: it would be wrong to say that nothing was seen on either. */
static void exchanged_contacts_are_not_called_still(void **state)
{
	const char *text = saw(SWAPPED, PW_REAR_BUTTON, PW_REAR_BUTTON_NC);

	(void)state;
	assert_null(strstr(text, "nothing"));
	HAS(text, "both contacts of rear_button to the other level");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(the_line_that_did_not_move_is_named),
		cmocka_unit_test(exchanged_contacts_are_not_called_still),
	};

	return cmocka_run_group_tests_name("page: saw", tests, NULL, NULL);
}
