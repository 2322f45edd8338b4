/* SPDX-License-Identifier: Apache-2.0 */
/*
 * docs/protocol.md, run as it is written, by curl(1), openssl(1) and zstd(1): the office is asked by nobody
 * who shares a line of code with it.
 */
#include <limits.h>

#include "office.h"

/* Records 1 to 5 with their seal, and so on; a rung with notify, sealed by itself; and the last one. */
static void make_export(const struct office *o, const char *folder)
{
	static struct made m;
	char path[200], *words;
	struct text t;
	int status;
	FILE *f;

	words = shell(&status, "mkdir %s && openssl genpkey -algorithm ed25519 -out %s/bus.key && openssl pkey -in "
		      "%s/bus.key -pubout -out %s/bus.pub && ln -s %s %s/office", folder, folder, folder, folder,
		      o->dir, folder);
	if (status)
		fail_msg("%s", words);
	free(words);
	made_begin(&m, "14", "0123456789abcdef", 1);
	char why[200];
	bool drawn;

	assert_int_equal(pw_secret_key_load(folder, "bus", &m.key, &drawn, why, sizeof(why)), 0);
	assert_false(drawn);
	made_grow(&m, 12);
	made_add(&m, PW_K_RUNG, "{\"name\":\"office\",\"notify\":true,\"at_ms\":5}");
	m.sealed[m.records] = true;
	made_grow(&m, 20);
	t = made_text(&m, 1, 20);
	snprintf(path, sizeof(path), "%s/export.jsonl", folder);
	f = fopen(path, "we");
	assert_int_equal(fwrite(t.at, 1, t.length, f), t.length);
	fclose(f);
	free(t.at);
}

static void test_page(void **state)
{
	struct office o;
	char folder[100], page[PATH_MAX], script[PATH_MAX], program[PATH_MAX], *said;
	int status;

	(void)state;
	office_begin(&o, "");
	snprintf(folder, sizeof(folder), "%s/reader", o.dir);
	make_export(&o, folder);
	assert_non_null(realpath("docs/protocol.md", page));
	assert_non_null(realpath("tests/faults/verify-doc.sh", script));
	assert_non_null(realpath(office_program(), program));
	*strrchr(program, '/') = '\0';
	said = shell(&status, "PATH='%s':$PATH '%s' '%s' '%s' OFFICE=http://127.0.0.1:%d", program, script, page,
		     folder, o.port);
	if (status || !strstr(said, " passed, 0 failed"))
		fail_msg("%s", said);
	print_message("%s", said);
	free(said);
	office_end(&o);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_page),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
