/* SPDX-License-Identifier: Apache-2.0 */
/*
 * docs/protocol.md and docs/office.md, run as they are written. The former by curl(1), openssl(1)
 * and zstd(1): the office is asked by nobody who shares a line of code with it.
 */
#include "office.h"

/* Records 1 to 5 with their seal, and so on; a rung with notify, sealed by itself; and the last
 * one. */
static void make_export(const struct office *o, const char *folder)
{
	static struct made m;
	char path[200], *words;
	struct text t;
	int status;
	FILE *f;

	words = shell(&status,
		      "mkdir %s && openssl genpkey -algorithm ed25519 -out %s/bus.key && openssl "
		      "pkey -in "
		      "%s/bus.key -pubout -out %s/bus.pub && ln -s %s %s/office",
		      folder, folder, folder, folder, o->dir, folder);
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

static char *folder_of(const char *variable)
{
	const char *program = getenv(variable);
	char *folder = program ? realpath(program, NULL) : NULL;

	if (!folder)
		fail_msg("%s is not set", variable);
	*strrchr(folder, '/') = '\0';
	return folder;
}

/* Block by block. change: what the reader puts in. */
static void run_page(const char *page, const char *folder, const char *change)
{
	char *tools = folder_of("POSTWALK"), *programs = folder_of("POSTWALK_OFFICE"), *said;
	int status;

	said = shell(&status, "PATH='%s:%s':$PATH timeout 60 tests/faults/verify-doc.sh %s '%s' %s",
		     programs, tools, page, folder, change);
	if (status || !strstr(said, " passed, 0 failed"))
		fail_msg("%s", said);
	print_message("%s: %s", page, said);
	free(said);
	free(tools);
	free(programs);
}

static void test_protocol(void **state)
{
	struct office o;
	char folder[100], change[60];

	(void)state;
	office_begin(&o, "");
	snprintf(folder, sizeof(folder), "%s/reader", o.dir);
	snprintf(change, sizeof(change), "OFFICE=http://127.0.0.1:%d", o.port);
	make_export(&o, folder);
	run_page("docs/protocol.md", folder, change);
	office_end(&o);
}

static int free_port(void)
{
	struct sockaddr_in at = { .sin_family = AF_INET,
				  .sin_addr.s_addr = htonl(INADDR_LOOPBACK) };
	socklen_t size = sizeof(at);
	int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);

	assert_true(fd >= 0 && bind(fd, (struct sockaddr *)&at, sizeof(at)) == 0 &&
		    getsockname(fd, (struct sockaddr *)&at, &size) == 0);
	close(fd);
	return ntohs(at.sin_port);
}

static void test_guide(void **state)
{
	struct office o; /* its folder alone */
	struct pw_secret_key key;
	char change[40], bus[100], why[200];
	bool drawn;
	int status;

	(void)state;
	office_dir(&o);
	snprintf(change, sizeof(change), "PORT=%d", free_port());
	free(shell(&status, "mkdir %s/bus && cp etc/postwalk.conf %s", o.dir, o.dir));
	assert_int_equal(status, 0);
	snprintf(bus, sizeof(bus), "%s/bus", o.dir);
	assert_int_equal(pw_secret_key_load(bus, "bus", &key, &drawn, why, sizeof(why)), 0);
	run_page("docs/office.md", o.dir, change);
	free(shell(&status, "rm -rf %s", o.dir));
	assert_int_equal(status, 0);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_protocol),
		cmocka_unit_test(test_guide),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
