/* SPDX-License-Identifier: Apache-2.0 */
/* The pages with forms: what is sent, read into acts. */
#include "page_leaf_sample.h"

static const struct reading {
	const char *path, *form;
	enum pw_word wrong;
	struct pw_act act; /* when nothing is wrong */
	const char *then;
} readings[] = {
	{ "/before", "do=try&line=9", PW_W_NONE, { .kind = PW_A_TRY, .line = 9 },
	  "/before?tried=9" },
	{ "/before", "do=heard&line=8&yes=1", PW_W_NONE,
	  { .kind = PW_A_HEARD, .line = 8, .yes = true }, "/before" },
	{ "/before", "do=heard&line=8&yes=0", PW_W_NONE, { .kind = PW_A_HEARD, .line = 8 },
	  "/before" },
	{ "/before", "do=heard&line=8", PW_W_E_FORM, { 0 }, NULL },
	{ "/before", "do=heard&line=8&yes=2", PW_W_E_FORM, { 0 }, NULL },
	{ "/before", "do=try", PW_W_E_LINE, { 0 }, NULL },
	{ "/before", "do=try&line=0", PW_W_E_LINE, { 0 }, NULL },  /* an input */
	{ "/before", "do=try&line=19", PW_W_E_LINE, { 0 }, NULL }, /* not configured */
	{ "/before", "do=try&line=20", PW_W_E_LINE, { 0 }, NULL },
	{ "/before", "do=try&line=-1", PW_W_E_LINE, { 0 }, NULL },
	{ "/before", "do=try&line=8x", PW_W_E_LINE, { 0 }, NULL },
	{ "/before", "do=try&line=18446744073709551624", PW_W_E_LINE, { 0 }, NULL },
	{ "/before", "line=8", PW_W_E_FORM, { 0 }, NULL },
	{ "/found", "what=nothing", PW_W_NONE, { .kind = PW_A_FOUND, .what = PW_FOUND_NOTHING },
	  "/found?what=taken" },
	{ "/found", "what=child", PW_W_NONE, { .kind = PW_A_FOUND, .what = PW_FOUND_CHILD },
	  "/found?what=child_taken" },
	{ "/found", "what=damage&who=d-1&words=Seat torn", PW_W_NONE,
	  { .kind = PW_A_FOUND, .what = PW_FOUND_DAMAGE, .who = "d-1", .words = "Seat torn" },
	  "/found?what=taken" },
	{ "/found", "what=mechanical&part=tires", PW_W_NONE,
	  { .kind = PW_A_FOUND, .what = PW_FOUND_MECHANICAL, .part = PW_PART_TIRES },
	  "/found?what=taken" },
	{ "/found", "what=damage&part=tires", PW_W_NONE,
	  { .kind = PW_A_FOUND, .what = PW_FOUND_DAMAGE }, "/found?what=taken" },
	{ "/found", "what=mechanical", PW_W_E_PART, { 0 }, NULL },
	{ "/found", "what=mechanical&part=wings", PW_W_E_PART, { 0 }, NULL },
	{ "/found", "", PW_W_E_WHAT, { 0 }, NULL },
	{ "/found", "what=gold", PW_W_E_WHAT, { 0 }, NULL },
	{ "/found", "what=damage&who=a b", PW_W_E_CODE, { 0 }, NULL },
	{ "/found", "what=damage&who=a234567890123456", PW_W_E_CODE, { 0 }, NULL },
	{ "/found", "what=damage&words=a\x01", PW_W_E_WORDS, { 0 }, NULL },
	{ "/report", "do=sign&who=d-1", PW_W_NONE, { .kind = PW_A_SIGN, .who = "d-1" }, "/report" },
	{ "/report", "do=review&who=d-1", PW_W_NONE, { .kind = PW_A_REVIEW, .who = "d-1" },
	  "/report" },
	{ "/report", "do=sign", PW_W_E_CODE, { 0 }, NULL },
	{ "/report", "do=sign&who=<", PW_W_E_CODE, { 0 }, NULL },
	{ "/report", "who=d-1", PW_W_E_FORM, { 0 }, NULL },
	{ "/pin", "for=installer&pin=abcd12", PW_W_NONE,
	  { .kind = PW_A_OPEN, .role = PW_INSTALLER, .pin = "abcd12" }, "/installer" },
	{ "/pin", "for=mechanic&pin=abcd12", PW_W_NONE,
	  { .kind = PW_A_OPEN, .role = PW_MECHANIC, .pin = "abcd12" }, "/mechanic" },
	{ "/pin", "for=mechanic&pin=abcd1", PW_W_E_PIN, { 0 }, NULL },
	{ "/pin", "for=mechanic", PW_W_E_PIN, { 0 }, NULL },
	{ "/pin", "for=mechanic&pin=0123456789012345678901234567890123456789012345678901234567890"
		  "1234", PW_W_E_PIN, { 0 }, NULL },
	{ "/pin", "for=nobody&pin=abcd12", PW_W_E_FORM, { 0 }, NULL },
	{ "/pin", "pin=abcd12", PW_W_E_FORM, { 0 }, NULL },
	{ "/installer", "do=count", PW_W_NONE, { .kind = PW_A_COUNT }, "/installer" },
	{ "/installer", "do=try&line=8", PW_W_NONE, { .kind = PW_A_TRY, .line = 8 }, "/installer" },
	{ "/installer", "do=try&line=x", PW_W_E_LINE, { 0 }, NULL },
	{ "/installer", "do=burn", PW_W_E_FORM, { 0 }, NULL },
	{ "/installer/wiring", "do=begin", PW_W_NONE,
	  { .kind = PW_A_WIRING, .step = PW_STEP_BEGIN }, "/installer/wiring" },
	{ "/installer/wiring", "do=next", PW_W_NONE, { .kind = PW_A_WIRING, .step = PW_STEP_NEXT },
	  "/installer/wiring" },
	{ "/installer/wiring", "do=again", PW_W_NONE,
	  { .kind = PW_A_WIRING, .step = PW_STEP_AGAIN }, "/installer/wiring" },
	{ "/installer/wiring", "do=skip", PW_W_NONE, { .kind = PW_A_WIRING, .step = PW_STEP_SKIP },
	  "/installer/wiring" },
	{ "/installer/wiring", "do=end", PW_W_E_FORM, { 0 }, NULL },
	{ "/installer/setup", "who=i-9", PW_W_NONE,
	  { .kind = PW_A_WIRING, .step = PW_STEP_END, .who = "i-9" }, "/installer/setup" },
	{ "/installer/setup", "", PW_W_E_CODE, { 0 }, NULL },
	{ "/mechanic", "do=on", PW_W_NONE, { .kind = PW_A_SERVICE, .yes = true }, "/mechanic" },
	{ "/mechanic", "do=off", PW_W_NONE, { .kind = PW_A_SERVICE }, "/mechanic" },
	{ "/mechanic", "do=perhaps", PW_W_E_FORM, { 0 }, NULL },
	{ "/mechanic", "do=certify&id=2&as=repaired&who=m-3&words=New blades", PW_W_NONE,
	  { .kind = PW_A_CERTIFY, .id = 2, .yes = true, .who = "m-3", .words = "New blades" },
	  "/mechanic" },
	{ "/mechanic", "do=certify&id=2&as=no_need&who=m-3", PW_W_NONE,
	  { .kind = PW_A_CERTIFY, .id = 2, .who = "m-3" }, "/mechanic" },
	{ "/mechanic", "do=certify&as=repaired&who=m-3", PW_W_E_DEFECT, { 0 }, NULL },
	{ "/mechanic", "do=certify&id=0&as=repaired&who=m-3", PW_W_E_DEFECT, { 0 }, NULL },
	{ "/mechanic", "do=certify&id=4294967296&as=repaired&who=m-3", PW_W_E_DEFECT, { 0 }, NULL },
	{ "/mechanic", "do=certify&id=2&as=burnt&who=m-3", PW_W_E_CERTIFY, { 0 }, NULL },
	{ "/mechanic", "do=certify&id=2&as=repaired", PW_W_E_CODE, { 0 }, NULL },
	{ "/leave", "", PW_W_NONE, { .kind = PW_A_LEAVE }, "/" },
};

static void forms_are_read_into_acts(void **state)
{
	const struct pw_snapshot s = sample_day();

	(void)state;
	for (size_t i = 0; i < sizeof readings / sizeof readings[0]; i++) {
		const struct reading *r = &readings[i];
		const struct pw_leaf *leaf = leaf_at(r->path);
		const struct pw_form f = form_of(r->form);
		struct pw_act act;

		memset(&act, 0, sizeof act);
		if (leaf->read(&f, &s, &act) != r->wrong)
			fail_msg("%s: %s", r->path, r->form);
		if (r->wrong != PW_W_NONE)
			continue;
		if (act.kind != r->act.kind || act.role != r->act.role || act.what != r->act.what ||
		    act.part != r->act.part || act.step != r->act.step || act.id != r->act.id ||
		    act.line != r->act.line || act.yes != r->act.yes)
			fail_msg("%s: %s: another act", r->path, r->form);
		assert_string_equal(act.who, r->act.who);
		assert_string_equal(act.words, r->act.words);
		assert_string_equal(act.pin, r->act.pin);
		assert_string_equal(leaf->then(&act), r->then);
	}
}

static void leaves_are_of_one_kind(void **state)
{
	(void)state;
	for (size_t i = 0; i < pw_leaf_count; i++) {
		const struct pw_leaf *l = &pw_leaves[i];

		assert_true((l->template != NULL) != (l->put != NULL));
		assert_true((l->put != NULL) == (l->type != NULL));
		assert_true((l->read != NULL) == (l->then != NULL));
		assert_true(!l->wires || l->role == PW_INSTALLER);
		for (size_t k = 0; k < i; k++)
			assert_string_not_equal(l->path, pw_leaves[k].path);
	}
}

static void every_answer_has_words(void **state)
{
	(void)state;
	assert_int_equal(pw_say_answer(PW_DONE_SO), PW_W_NONE);
	for (int a = PW_PIN_IS_WRONG; a <= PW_NOT_DONE; a++)
		assert_true(pw_say_answer((enum pw_answer)a) != PW_W_NONE);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(forms_are_read_into_acts),
		cmocka_unit_test(leaves_are_of_one_kind),
		cmocka_unit_test(every_answer_has_words),
	};

	return cmocka_run_group_tests_name("page: forms into acts", tests, NULL, NULL);
}
