/* SPDX-License-Identifier: Apache-2.0 */
/* Soundness (J10) of a journal whose beginning was dropped (J11). */
#include "record_sealed.h"

/* J11: the beginning is explained by the prune record, which a seal covers; HASH: of seq 4. */
static void a_pruned_beginning(void **state)
{
	static const struct {
		int line;
		enum pw_kind kind;
		const char *body;
		struct expected found[2];
	} cases[] = {
		{ T, PW_K_PRUNE, "{\"seq\":4,\"hash\":\"HASH\",\"seals\":1}", { { 0, 0 } } },
		{ T, PW_K_PRUNE, "{\"hash\":\"HASH\",\"seq\":4}", { { 0, 0 } } },
		{ T, PW_K_PRUNE, "{\"seq\":3,\"hash\":\"HASH\"}", { { PRUNED, 5 } } },
		{ T, PW_K_PRUNE, "{\"seq\":5,\"hash\":\"HASH\"}", { { PRUNED, 5 } } },
		{ T, PW_K_PRUNE, "{\"seq\":\"4\",\"hash\":\"HASH\"}", { { PRUNED, 5 } } },
		{ T, PW_K_PRUNE, "{\"seq\":4.0,\"hash\":\"HASH\"}", { { PRUNED, 5 } } },
		{ T, PW_K_PRUNE, "{\"seq\":4,\"hash\":\"HASH0\"}", { { PRUNED, 5 } } },
		{ T, PW_K_PRUNE, "{\"seq\":4,\"hash\":null}", { { PRUNED, 5 } } },
		{ T, PW_K_PRUNE, "{\"seq\":4,\"seq\":4,\"hash\":\"HASH\"}", { { PRUNED, 5 } } },
		{ T, PW_K_PRUNE, "{\"seq\":4}", { { PRUNED, 5 } } },
		{ T, PW_K_PRUNE, "[4]", { { PRUNED, 5 } } },
		{ T, PW_K_PRUNE, "", { { PRUNED, 5 } } },
		{ T, PW_K_FAULT, "{\"seq\":4,\"hash\":\"HASH\",\"seals\":1}", { { PRUNED, 5 } } },
	};
	struct items x;
	struct findings found;
	struct pw_check c;
	char body[256];
	const char *mark;

	(void)state;
	for (size_t i = 0; i < sizeof(cases) / sizeof(cases[0]); i++) {
		items_make(&x, JOURNAL);
		mark = strstr(cases[i].body, "HASH");
		snprintf(body, sizeof(body), "%.*s%s%s",
			 mark ? (int)(mark - cases[i].body) : 999, cases[i].body,
			 mark ? record(&x, 4)->hash : "", mark ? mark + 4 : "");
		record(&x, 11)->kind = cases[i].kind;
		record(&x, 11)->body = body;
		items_link(&x, 0);
		items_seal(&x);
		items_check(&x, &x.key.public, &c, &found);
		assert_found(&found, (struct expected[]){ { 0, 0 } }, cases[i].line);
		cut_head(&x);
		items_check(&x, &x.key.public, &c, &found);
		assert_found(&found, cases[i].found, cases[i].line);
		assert_int_equal(c.pruned != 0, cases[i].found[0].flaw == 0);
		assert_int_equal(c.first, 5);
	}
}

/* J11: the first of two prune records explains the beginning, or the second does. */
static void pruned_twice(void **state)
{
	struct items x;
	struct findings found;
	struct pw_check c;
	char here[128];

	(void)state;
	for (uint64_t explains = 10; explains <= 11; explains++) {
		items_make(&x, JOURNAL);
		snprintf(here, sizeof(here), "{\"seq\":4,\"hash\":\"%s\"}", record(&x, 4)->hash);
		record(&x, 10)->kind = record(&x, 11)->kind = PW_K_PRUNE;
		record(&x, explains)->body = here;
		items_link(&x, 0);
		items_seal(&x);
		cut_head(&x);
		items_check(&x, &x.key.public, &c, &found);
		assert_found(&found, (struct expected[]){ { 0, 0 } }, T);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(a_pruned_beginning),
		cmocka_unit_test(pruned_twice),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
