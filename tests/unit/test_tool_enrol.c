/* SPDX-License-Identifier: Apache-2.0 */
/* postwalk enrol: what is typed, what the office says, and what is kept of it. */
#include "uplink_writer.h"

#include "tool_command.h"

#include <ctype.h>
#include <sys/un.h>

#include "postwalk/delivery.h"
#include "postwalk/stretch.h"

#define POLICY "[bus]\nid = " BUS "\n[line ignition]\n[line rear_button]\n[line rear_door]\n"

struct scene {
	struct tool *tool;
	struct office *office;
	struct pw_secret_key key;
	char print[65], office_print[65];
};

static int begin(void **state)
{
	struct scene *s = calloc(1, sizeof(*s));
	char why[200];
	bool drawn;

	assert_non_null(s);
	tool_begin((void **)&s->tool);
	s->office = office_open();
	assert_int_equal(pw_secret_key_load(s->tool->dir, "bus", &s->key, &drawn, why, sizeof(why)), 0);
	pw_public_key_print(&s->key.public, s->print);
	pw_public_key_print(&s->office->key.public, s->office_print);
	tool_write(tool_path(s->tool, "policy"), POLICY);
	*state = s;
	return 0;
}

static int end(void **state)
{
	struct scene *s = *state;

	office_close(s->office);
	tool_end((void **)&s->tool);
	free(s);
	return 0;
}

/* With --config, where nothing else is said of the bus. */
#define ENROL(s, ...) RUN((s)->tool, pw_enrol, "enrol", "--state", (s)->tool->dir, __VA_ARGS__)
#define TO(s) "--to", (s)->office->url
#define CONFIG(s) "--config", tool_path((s)->tool, "policy")

static int load(const struct scene *s, struct pw_place *place)
{
	char why[600];

	return pw_place_load(s->tool->dir, place, why, sizeof(why));
}

/* -- it goes ----------------------------------------------------------------------------------- */

static void enrolled(void **state)
{
	struct scene *s = *state;
	struct pw_place place;

	assert_int_equal(ENROL(s, TO(s), "--code", CODE, CONFIG(s)), PW_EXIT_OK);
	assert_string_equal(s->tool->err, "");
	assert_has(s->tool->out, "Bus " BUS " is enrolled at http://127.0.0.1:");
	assert_has(s->tool->out, s->print);
	assert_has(s->tool->out, s->office_print);
	assert_has(s->tool->out, "Compare both with the office by telephone");
	assert_int_equal(load(s, &place), 0);
	assert_string_equal(place.url, s->office->url);
	assert_string_equal(place.token, TOKEN);
	assert_memory_equal(&place.key, &s->office->key.public, sizeof(place.key));
	assert_string_equal(s->office->log, "office: office\noffice: enrol " BUS " " CODE "\n");
	assert_string_equal(s->office->token, ""); /* it has none yet */
}

/* As it is read out on a telephone. */
static void a_code_in_other_letters(void **state)
{
	static const char *const codes[] = {
		"k7qd-2m4t-9xwa-pe3r-6hnb", "K7QD2M4T9XWAPE3R6HNB", " K7QD 2M4T 9XWA PE3R 6HNB ",
	};
	struct scene *s = *state;

	for (size_t i = 0; i < COUNT(codes); i++) {
		assert_int_equal(ENROL(s, TO(s), "--code", codes[i], CONFIG(s)), PW_EXIT_OK);
		assert_has(s->office->log, "office: enrol " BUS " " CODE "\n");
		s->office->log[0] = '\0';
	}
}

/* In capitals and pairs, as other tools print it. */
static void the_office_that_was_named(void **state)
{
	struct scene *s = *state;
	char pairs[97];

	for (int i = 0; i < 32; i++)
		snprintf(pairs + 3 * i, 4, "%c%c:", toupper(s->office_print[2 * i]),
			 toupper(s->office_print[2 * i + 1]));
	pairs[95] = '\0';
	assert_int_equal(ENROL(s, TO(s), "--code", CODE, CONFIG(s), "--office", s->office_print),
			 PW_EXIT_OK);
	assert_int_equal(ENROL(s, TO(s), "--code", CODE, CONFIG(s), "--office", pairs), PW_EXIT_OK);
}

/* By root for a daemon that runs as somebody else: the files are that one's. */
static void the_folder_s_owner_owns_them(void **state)
{
	static const char *const names[] = { "office.conf", "office.pub" };
	struct scene *s = *state;
	struct stat st;

	if (geteuid() != 0)
		skip();
	assert_int_equal(chown(tool_path(s->tool, "bus.key"), 4242, 4243), 0);
	assert_int_equal(chown(tool_path(s->tool, "bus.pub"), 4242, 4243), 0);
	assert_int_equal(chown(s->tool->dir, 4242, 4243), 0);
	assert_int_equal(ENROL(s, TO(s), "--code", CODE, CONFIG(s)), PW_EXIT_OK);
	for (size_t i = 0; i < COUNT(names); i++) {
		assert_int_equal(stat(tool_path(s->tool, names[i]), &st), 0);
		assert_int_equal(st.st_uid, 4242);
		assert_int_equal(st.st_gid, 4243);
	}
}

/* -- which bus --------------------------------------------------------------------------------- */

static void the_bus_of_a_journal_at_rest(void **state)
{
	struct scene *s = *state;
	struct pw_journal *journal;
	char why[400];

	assert_int_equal(ENROL(s, TO(s), "--code", CODE), PW_EXIT_BAD);
	assert_refused(s->tool, "which bus is it? Start postwalkd once, or give --config FILE");
	assert_int_equal(pw_journal_open(tool_path(s->tool, "journal.db"), BUS, true, &journal, why,
					 sizeof(why)), 0);
	pw_journal_close(journal);
	assert_int_equal(ENROL(s, TO(s), "--code", CODE), PW_EXIT_OK);
	assert_has(s->tool->out, "Bus " BUS " is enrolled");
}

/* The journal is the writer's alone while the watch runs (J1): it is asked. */
static void the_bus_of_a_watch_that_runs(void **state)
{
	struct scene *s = *state;
	struct sockaddr_un a = { .sun_family = AF_UNIX };
	struct journal j;
	struct writer w = { .office = s->office, .journal = &j, .first = 1 };
	int listener = socket(AF_UNIX, SOCK_SEQPACKET | SOCK_CLOEXEC, 0), alive;

	journal_make(&j, 1, 0);
	snprintf(a.sun_path, sizeof(a.sun_path), "%s/" PW_UPLINK_SOCKET, s->tool->dir);
	assert_int_equal(bind(listener, (struct sockaddr *)&a, sizeof(a)), 0);
	assert_int_equal(listen(listener, 1), 0);
	alive = tool_start(s->tool, pw_enrol, (const char *const[]){ "enrol", "--state", s->tool->dir,
			   TO(s), "--code", CODE, NULL });
	w.fd = accept(listener, NULL, NULL);
	assert_true(w.fd >= 0);
	assert_true(writer_turn(&w, clock_ms() + DEADLINE_MS));
	assert_int_equal(tool_finish(s->tool), PW_EXIT_OK);
	assert_has(s->tool->out, "Bus " BUS " is enrolled");
	close(alive);
	close(w.fd);
	close(listener);
}

/* -- it does not go ---------------------------------------------------------------------------- */

/* Exit 1, one sentence, and nothing is kept. */
static void assert_not(const struct scene *s, const char *part)
{
	struct pw_place place;

	assert_has(s->tool->err, part);
	assert_has(s->tool->err, "nothing was changed");
	assert_int_equal(s->tool->status, PW_EXIT_NOT);
	assert_string_equal(s->tool->out, "");
	assert_ptr_equal(strchr(s->tool->err, '\n'), s->tool->err + strlen(s->tool->err) - 1);
	assert_int_equal(load(s, &place), 1);
}

/* Before the code is used up: it is never sent there. */
static void another_office(void **state)
{
	struct scene *s = *state;

	ENROL(s, TO(s), "--code", CODE, CONFIG(s), "--office", s->print);
	assert_not(s, "the office there has another key: its fingerprint is ");
	assert_has(s->tool->err, s->office_print);
	assert_string_equal(s->office->log, "office: office\n");
}

static void a_code_that_is_over(void **state)
{
	struct scene *s = *state;

	ENROL(s, TO(s), "--code", "K7QD-2M4T-9XWA-PE3R-6HNC", CONFIG(s));
	assert_not(s, "the office says: the code is not right, or was used, or is over (403)");
}

static void an_office_that_is_away(void **state)
{
	struct scene *s = *state;
	char url[64];

	strcpy(url, s->office->url);
	office_close(s->office);
	ENROL(s, "--to", url, "--code", CODE, CONFIG(s));
	s->office = office_open();
	assert_not(s, "the office is not reached");
}

static void an_office_with_two_keys(void **state)
{
	static const char body[] = "{\"bus\":\"" BUS "\",\"token\":\"" TOKEN "\",\"key\":\"%s\"}";
	struct scene *s = *state;
	char pem[PW_PEM_MAX], text[600], line[200] = "";

	pw_public_key_pem(&s->key.public, pem);
	for (const char *at = pem; *at; at++)
		snprintf(line + strlen(line), 3, *at == '\n' ? "\\n" : "%c", *at);
	snprintf(text, sizeof(text), body, line);
	office_can(s->office, (struct canned){ .status = 200, .body = text, .path = "/enrol" });
	ENROL(s, TO(s), "--code", CODE, CONFIG(s));
	assert_not(s, "the office answers with two keys");
}

/* What was enrolled before stays in force. */
static void a_failure_changes_nothing(void **state)
{
	struct scene *s = *state;
	struct pw_place place;

	assert_int_equal(ENROL(s, TO(s), "--code", CODE, CONFIG(s)), PW_EXIT_OK);
	assert_int_equal(ENROL(s, TO(s), "--code", "K7QD-2M4T-9XWA-PE3R-6HNC", CONFIG(s)), PW_EXIT_NOT);
	assert_int_equal(load(s, &place), 0);
	assert_string_equal(place.token, TOKEN);
}

/* 202: the token is good once a person has said yes, so it is kept. */
static void a_key_that_waits(void **state)
{
	struct scene *s = *state;
	struct pw_place place;
	char pem[PW_PEM_MAX], text[800], line[200] = "";

	pw_public_key_pem(&s->office->key.public, pem);
	for (const char *at = pem; *at; at++)
		snprintf(line + strlen(line), 3, *at == '\n' ? "\\n" : "%c", *at);
	snprintf(text, sizeof(text), "{\"error\":\"waits\",\"words\":\"bus " BUS " has another key\","
		 "\"token\":\"" TOKEN "\",\"key\":\"%s\"}", line);
	office_can(s->office, (struct canned){ .status = 202, .body = text, .path = "/enrol" });
	assert_int_equal(ENROL(s, TO(s), "--code", CODE, CONFIG(s)), PW_EXIT_NOT);
	assert_string_equal(s->tool->err, "");
	assert_has(s->tool->out, "Bus " BUS " waits: the office says: bus " BUS " has another key (202).");
	assert_has(s->tool->out, "A person in the office has to decide.");
	assert_has(s->tool->out, s->print);
	assert_has(s->tool->out, s->office_print);
	assert_int_equal(load(s, &place), 0);
	assert_string_equal(place.token, TOKEN);
}

/* -- bad input --------------------------------------------------------------------------------- */

static void bad_input(void **state)
{
	struct scene *s = *state;
	struct pw_place place;

#define BAD(part, ...) do { \
	ENROL(s, __VA_ARGS__); \
	assert_refused(s->tool, part); \
	assert_int_equal(load(s, &place), 1); \
	assert_string_equal(s->office->log, ""); \
} while (0)
	BAD("expected a code of five groups of four", TO(s), "--code", "K7QD", CONFIG(s));
	BAD("expected a code of five groups of four", TO(s), "--code", CODE "-AAAA", CONFIG(s));
	BAD("expected a code of five groups of four", TO(s), "--code", "K7QD-2M4T-9XWA-PE3R-6HN_", CONFIG(s));
	BAD("expected https://HOST[:PORT]", "--to", "office.example", "--code", CODE, CONFIG(s));
	BAD("loopback addresses only", "--to", "http://office.example", "--code", CODE, CONFIG(s));
	BAD("expected a pin", TO(s), "--code", CODE, CONFIG(s), "--pin", "sha1//AAAA");
	BAD("expected the fingerprint of the office's key", TO(s), "--code", CODE, CONFIG(s), "--office", "12");
	BAD("No such file", TO(s), "--code", CODE, CONFIG(s), "--ca", "/nowhere.pem");
	BAD("expected certificates as PEM", TO(s), "--code", CODE, CONFIG(s), "--ca", "/dev/null");
	BAD("No such file", TO(s), "--code", CODE, "--config", "/nowhere.conf");
	tool_write(tool_path(s->tool, "policy"), "[bus]\n");
	BAD("id", TO(s), "--code", CODE, CONFIG(s));
	tool_write(tool_path(s->tool, "policy"), POLICY);
	unlink(tool_path(s->tool, "bus.key"));
	BAD("bus.key: there is none yet: start postwalkd once", TO(s), "--code", CODE, CONFIG(s));
	assert_int_equal(access(tool_path(s->tool, "bus.key"), F_OK), -1); /* none was drawn */
	tool_write(tool_path(s->tool, "bus.key"), "no key\n");
	BAD("is no Ed25519 key as PEM", TO(s), "--code", CODE, CONFIG(s));
	RUN(s->tool, pw_enrol, "enrol", "--state", "/nowhere", TO(s), "--code", CODE, CONFIG(s));
	assert_refused(s->tool, "No such file");
	RUN(s->tool, pw_enrol, "enrol", "--state", "/dev/null", TO(s), "--code", CODE, CONFIG(s));
	assert_refused(s->tool, "it is no folder");
}

static void usage_is_told(void **state)
{
	struct scene *s = *state;

#define USAGE(...) do { \
	assert_int_equal(RUN(s->tool, pw_enrol, "enrol", __VA_ARGS__), PW_EXIT_BAD); \
	assert_has(s->tool->err, "usage: postwalk enrol --state DIR --to URL --code CODE"); \
} while (0)
	USAGE("--state", s->tool->dir);
	USAGE("--state", s->tool->dir, TO(s));
	USAGE(TO(s), "--code", CODE);
	USAGE("--state", s->tool->dir, TO(s), "--code", CODE, "more");
	USAGE("--state", s->tool->dir, TO(s), "--code", CODE, "--colour", "red");
	USAGE("--state");
}

int main(void)
{
#define TEST(name) cmocka_unit_test_setup_teardown(name, begin, end)
	const struct CMUnitTest tests[] = {
		TEST(enrolled),
		TEST(a_code_in_other_letters),
		TEST(the_office_that_was_named),
		TEST(the_folder_s_owner_owns_them),
		TEST(the_bus_of_a_journal_at_rest),
		TEST(the_bus_of_a_watch_that_runs),
		TEST(another_office),
		TEST(a_code_that_is_over),
		TEST(an_office_that_is_away),
		TEST(an_office_with_two_keys),
		TEST(a_failure_changes_nothing),
		TEST(a_key_that_waits),
		TEST(bad_input),
		TEST(usage_is_told),
	};

	return cmocka_run_group_tests_name("postwalk enrol", tests, NULL, NULL);
}
