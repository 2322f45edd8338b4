/* SPDX-License-Identifier: Apache-2.0 */
/* Ties a bus to the office that it delivers to: its key, by a code of the office, for a token. */
#include <ctype.h>
#include <errno.h>
#include <fcntl.h>
#include <getopt.h>
#include <signal.h>
#include <sodium.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "postwalk/delivery.h"
#include "postwalk/journal.h"
#include "postwalk/text.h"
#include "tool_internal.h"

#define CODE_GROUPS 5
#define CODE_GROUP 4
#define PATH_MAX_BYTES 4096

enum { STATE, TO, CODE, CONFIG, CA, PIN, OFFICE, OPTIONS };
struct enrolment {
	const char *given[OPTIONS]; /* NULL: not given */
	char bus[PW_NAME_MAX];
	char code_text[CODE_GROUPS * (CODE_GROUP + 1)], office_text[65];
	struct pw_secret_key key;
	struct pw_place place;
};

__attribute__((format(printf, 1, 2)))
static int fail(const char *format, ...)
{
	va_list args;

	fputs("postwalk enrol: ", stderr);
	va_start(args, format);
	vfprintf(stderr, format, args);
	va_end(args);
	fputc('\n', stderr);
	return -1;
}

/* -- what was typed ---------------------------------------------------------------------------- */

/* As it was read out on the telephone: small letters, spaces and missing dashes are fine. */
static int read_code(const char *typed, char code[CODE_GROUPS * (CODE_GROUP + 1)])
{
	size_t n = 0, letters = 0;

	for (; *typed; typed++) {
		if (*typed == '-' || *typed == ' ')
			continue;
		if (!isalnum((unsigned char)*typed) || letters == CODE_GROUPS * CODE_GROUP)
			return -1;
		if (letters > 0 && letters % CODE_GROUP == 0)
			code[n++] = '-';
		code[n++] = (char)toupper((unsigned char)*typed);
		letters++;
	}
	code[n] = '\0';
	return letters == CODE_GROUPS * CODE_GROUP ? 0 : -1;
}

static int read_fingerprint(const char *typed, char print[65])
{
	size_t n = 0;

	for (; *typed && n < 64; typed++)
		if (*typed != ' ' && *typed != ':')
			print[n++] = (char)tolower((unsigned char)*typed);
	print[n] = '\0';
	return *typed == '\0' && pw_hex_text(print, 64) ? 0 : -1;
}

static int read_place(struct enrolment *e)
{
	const struct { const char *from; char *to; size_t size; } texts[] = {
		{ e->given[TO], e->place.url, sizeof(e->place.url) },
		{ e->given[CA], e->place.ca, sizeof(e->place.ca) },
		{ e->given[PIN], e->place.pin, sizeof(e->place.pin) },
	};
	char why[600];

	for (size_t i = 0; i < sizeof(texts) / sizeof(texts[0]); i++)
		if (texts[i].from != NULL && strlen(texts[i].from) >= texts[i].size)
			return fail("%.60s...: expected something shorter", texts[i].from);
		else if (texts[i].from != NULL)
			strcpy(texts[i].to, texts[i].from);
	return pw_place_check(&e->place, why, sizeof(why)) == 0 ? 0 : fail("%s", why);
}

static int read_typed(struct enrolment *e)
{
	if (read_code(e->given[CODE], e->code_text) < 0)
		return fail("expected a code of five groups of four letters and digits, not "
			    "\"%.60s\"", e->given[CODE]);
	if (e->given[OFFICE] != NULL && read_fingerprint(e->given[OFFICE], e->office_text) < 0)
		return fail("expected the fingerprint of the office's key, 64 digits of 0-9 a-f, "
			    "not \"%.80s\"", e->given[OFFICE]);
	return read_place(e);
}

/* -- the bus ----------------------------------------------------------------------------------- */

static int bus_of_config(struct enrolment *e)
{
	struct pw_policy policy;
	char why[600];

	if (pw_policy_load(e->given[CONFIG], true, &policy, NULL, NULL, why, sizeof(why)) < 0)
		return fail("%s", why);
	memcpy(e->bus, policy.bus, sizeof(e->bus));
	return 0;
}

/* While the watch runs the journal is its writer's alone (J1). */
static int bus_of_journal(struct enrolment *e)
{
	char path[PATH_MAX_BYTES], why[PATH_MAX_BYTES + 300];
	struct pw_journal *journal;

	snprintf(path, sizeof(path), "%.4000s/journal.db", e->given[STATE]);
	if (access(path, R_OK) < 0)
		return fail("%s: %s: which bus is it? Start postwalkd once, or give --config FILE",
			    path, strerror(errno));
	if (pw_journal_open(path, NULL, false, &journal, why, sizeof(why)) < 0)
		return fail("%s", why);
	snprintf(e->bus, sizeof(e->bus), "%s", pw_journal_bus(journal));
	pw_journal_close(journal);
	return 0;
}

static int find_bus(struct enrolment *e)
{
	if (e->given[CONFIG] != NULL)
		return bus_of_config(e);
	if (pw_uplink_bus(e->given[STATE], e->bus) == 0)
		return 0;
	return bus_of_journal(e);
}

static int find_key(struct enrolment *e)
{
	char path[PATH_MAX_BYTES], why[PATH_MAX_BYTES + 300];
	bool drawn;

	snprintf(path, sizeof(path), "%.4000s/bus.key", e->given[STATE]);
	if (faccessat(AT_FDCWD, path, R_OK, AT_EACCESS) < 0 && errno == ENOENT)
		return fail("%s: there is none yet: start postwalkd once, and it draws one", path);
	if (pw_secret_key_load(e->given[STATE], "bus", &e->key, &drawn, why, sizeof(why)) < 0)
		return fail("%s", why);
	return 0;
}

/* -- enrolling --------------------------------------------------------------------------------- */

static void say_keys(const struct enrolment *e)
{
	char bus[65], office[65];

	pw_public_key_print(&e->key.public, bus);
	pw_public_key_print(&e->place.key, office);
	printf("  key of this bus    %s\n  key of the office  %s\n"
	       "Compare both with the office by telephone. They are fingerprints (SHA-256), and\n"
	       "the same two stand there; if one differs, somebody stands in between: go no further.\n",
	       bus, office);
}

static int settle(struct enrolment *e, const struct pw_reply *reply)
{
	char why[PATH_MAX_BYTES + 300];

	if (reply->said != PW_SAID_SO && reply->said != PW_SAID_WAITS) {
		fail("%s; nothing was changed", reply->why);
		return PW_EXIT_NOT;
	}
	if (pw_place_save(e->given[STATE], &e->place, why, sizeof(why)) < 0) {
		fail("%s", why);
		return PW_EXIT_BAD;
	}
	if (reply->said == PW_SAID_SO)
		printf("Bus %s is enrolled at %s.\n", e->bus, e->place.url);
	else
		printf("Bus %s waits: %s.\nA person in the office has to decide. The uplink asks "
		       "again by itself.\n", e->bus, reply->why);
	say_keys(e);
	return reply->said == PW_SAID_SO ? PW_EXIT_OK : PW_EXIT_NOT;
}

static int enrol(struct enrolment *e)
{
	struct pw_reply reply;
	char why[PATH_MAX_BYTES + 300];

	umask(022);
	signal(SIGPIPE, SIG_IGN);
	if (read_typed(e) < 0)
		return PW_EXIT_BAD;
	if (pw_act_as_owner(e->given[STATE], why, sizeof(why)) < 0) {
		fail("%s", why);
		return PW_EXIT_BAD;
	}
	if (find_bus(e) < 0 || find_key(e) < 0)
		return PW_EXIT_BAD;
	pw_link_enrol(&e->place, e->bus, e->code_text, &e->key,
		      e->given[OFFICE] ? e->office_text : NULL, &reply);
	return settle(e, &reply);
}

static int usage(void)
{
	fputs("usage: postwalk enrol --state DIR --to URL --code CODE [--config FILE] [--ca FILE]\n"
	      "                      [--pin sha256//BASE64] [--office FINGERPRINT]\n"
	      "  --to URL              https://HOST[:PORT] of the office\n"
	      "  --code CODE           that somebody in the office made for this bus\n"
	      "  --config FILE         the policy, for the bus's id; else as the journal has it\n"
	      "  --ca FILE             certificates to trust, instead of the system's\n"
	      "  --pin sha256//BASE64  SHA-256 of the key that the server must have\n"
	      "  --office FINGERPRINT  of the key that the office must have\n", stderr);
	return PW_EXIT_BAD;
}

int pw_enrol(int argc, char **argv)
{
	static const struct option options[] = {
		[STATE] = { "state", required_argument, NULL, 0 },
		[TO] = { "to", required_argument, NULL, 0 },
		[CODE] = { "code", required_argument, NULL, 0 },
		[CONFIG] = { "config", required_argument, NULL, 0 },
		[CA] = { "ca", required_argument, NULL, 0 },
		[PIN] = { "pin", required_argument, NULL, 0 },
		[OFFICE] = { "office", required_argument, NULL, 0 },
		[OPTIONS] = { 0 },
	};
	struct enrolment e = { .given = { NULL } };
	int c, which, status;

	while ((c = getopt_long(argc, argv, "", options, &which)) == 0)
		e.given[which] = optarg;
	if (c != -1 || e.given[STATE] == NULL || e.given[TO] == NULL || e.given[CODE] == NULL
	    || optind != argc)
		return usage();
	if (sodium_init() < 0)
		return PW_EXIT_BAD;
	status = enrol(&e);
	sodium_memzero(&e, sizeof(e));
	return status;
}
