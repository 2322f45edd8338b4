/* SPDX-License-Identifier: Apache-2.0 */
/* postwalk fleet: a made-up district to try an office with (docs/fleet.md). */
#include <errno.h>
#include <getopt.h>
#include <inttypes.h>
#include <limits.h>
#include <sodium.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "fleet_send_internal.h"
#include "tool_internal.h"

/* -- options ----------------------------------------------------------------------------------- */

enum kind { WORD = 1, NUMBER, SPAN, YES };
#define AT(member) offsetof(struct pw_fleet_options, member)
static const struct option_row {
	const char *name;
	enum kind kind;
	size_t at;
	int64_t least, most, otherwise;
} rows[] = {
	{ "buses", NUMBER, AT(buses), 1, 1000000, -1 },
	{ "days", NUMBER, AT(days), 0, 3660, -1 },
	{ "seed", NUMBER, AT(seed), 0, INT64_MAX, -1 },
	{ "connections", NUMBER, AT(connections), 1, 1024, 32 },
	{ "within", SPAN, AT(within_ms), 0, INT64_C(86400000), -1 },
	{ "rate", NUMBER, AT(a_minute), 1, 1000000, -1 },
	{ "patience", SPAN, AT(patience_ms), 0, INT64_C(86400000), 600000 },
	{ "to", WORD, AT(to), 0, 0, 0 },
	{ "from", WORD, AT(from), 0, 0, 0 },
	{ "zone", WORD, AT(zone), 0, 0, 0 },
	{ "codes", WORD, AT(codes), 0, 0, 0 },
	{ "state", WORD, AT(state), 0, 0, 0 },
	{ "out", WORD, AT(out), 0, 0, 0 },
	{ "runs", WORD, AT(runs), 0, 0, 0 },
	{ "ca", WORD, AT(ca), 0, 0, 0 },
	{ "pin", WORD, AT(pin), 0, 0, 0 },
	{ "list", YES, AT(list), 0, 0, 0 },
	{ "quiet", YES, AT(quiet), 0, 0, 0 },
};
#define ROWS (sizeof(rows) / sizeof(rows[0]))

static int usage(void)
{
	fputs("usage: postwalk fleet --buses N --days D --seed S [--from DATE] [--zone ZONE]\n"
	      "         [--state DIR] [--list] [--runs FILE] [--out DIR]\n"
	      "         [--to URL [--codes FILE] [--ca FILE] [--pin sha256//BASE64]\n"
	      "          [--connections N] [--within TIME | --rate N] [--patience TIME]\n"
	      "          [--quiet]]\n"
	      "  --from DATE      YYYY-MM-DD, the first day; as it is, the last day is yesterday\n"
	      "  --zone ZONE      of the district, as America/Chicago; the machine's\n"
	      "  --state DIR      keeps tokens, and how far it came: the next call goes on\n"
	      "  --list           the truth: buses, what befell them, every stop; JSON Lines\n"
	      "  --runs FILE      the run sheet; CSV\n"
	      "  --out DIR        each journal as an export\n"
	      "  --to URL         the office that they deliver to\n"
	      "  --codes FILE     lines BUS CODE, as postwalk-office enrol prints them\n"
	      "  --within TIME    buses come in spread over so long: 30s, 10m, 2h\n"
	      "  --rate N         or so many a minute\n"
	      "  --patience TIME  how long a bus tries in vain (10m)\n",
	      stderr);
	return PW_EXIT_BAD;
}

static int refuse(const char *name, const char *expected, const char *given)
{
	fprintf(stderr, "postwalk fleet: --%s: expected %s, not \"%s\"\n", name, expected, given);
	return -1;
}

static int read_number(const struct option_row *row, const char *text, int64_t *to)
{
	char *end, expected[80];
	long long n;

	errno = 0;
	n = strtoll(text, &end, 10);
	if (text[0] >= '0' && text[0] <= '9' && *end == '\0' && errno == 0 && n >= row->least
	    && n <= row->most) {
		*to = n;
		return 0;
	}
	snprintf(expected, sizeof(expected), "a whole number from %" PRId64 " to %" PRId64,
		 row->least, row->most);
	return refuse(row->name, expected, text);
}

static int read_span(const struct option_row *row, const char *text, int64_t *to)
{
	static const struct {
		char unit;
		int64_t ms;
	} units[] = { { 's', 1000 }, { 'm', 60000 }, { 'h', 3600000 } };
	char *end;
	long n;

	errno = 0;
	n = strtol(text, &end, 10);
	for (size_t i = 0; i < sizeof(units) / sizeof(units[0]); i++)
		if (text[0] >= '0' && text[0] <= '9' && errno == 0 && end[0] == units[i].unit
		    && end[1] == '\0' && n <= row->most / units[i].ms) {
			*to = n * units[i].ms;
			return 0;
		}
	return refuse(row->name, "a time of a day at most, as 30s, 10m or 2h", text);
}

static int take_option(struct pw_fleet_options *o, const struct option_row *row, const char *text)
{
	void *to = (char *)o + row->at;

	switch (row->kind) {
	case WORD:
		*(const char **)to = text;
		return 0;
	case NUMBER:
		return read_number(row, text, to);
	case SPAN:
		return read_span(row, text, to);
	case YES:
		break;
	}
	*(bool *)to = true;
	return 0;
}

static int read_options(int argc, char **argv, struct pw_fleet_options *o)
{
	struct option options[ROWS + 1] = { 0 };
	int c;

	*o = (struct pw_fleet_options){ 0 };
	for (size_t i = 0; i < ROWS; i++) {
		options[i] = (struct option){ rows[i].name,
					      rows[i].kind == YES ? no_argument : required_argument,
					      NULL, (int)i + 1 };
		if (rows[i].kind == NUMBER || rows[i].kind == SPAN)
			*(int64_t *)(void *)((char *)o + rows[i].at) = rows[i].otherwise;
	}
	while ((c = getopt_long(argc, argv, "", options, NULL)) != -1) {
		if (c == '?')
			return usage();
		if (take_option(o, &rows[c - 1], optarg))
			return PW_EXIT_BAD;
	}
	if (optind != argc || !(o->to || o->list || o->runs || o->out || o->state))
		return usage();
	return 0;
}

/* -- which fleet ------------------------------------------------------------------------------- */

__attribute__((format(printf, 1, 2)))
static int say(const char *format, ...)
{
	va_list args;

	va_start(args, format);
	fputs("postwalk fleet: ", stderr);
	vfprintf(stderr, format, args);
	va_end(args);
	fputc('\n', stderr);
	return PW_EXIT_BAD;
}

/* What a state says already may be said again, and not otherwise. */
static int same(const struct pw_fleet_state *s, const struct pw_fleet_options *o)
{
	char from[16];

	pw_date_print(s->fleet.from, from);
	if (o->buses >= 0 && o->buses != (int64_t)s->fleet.buses)
		return say("--buses: %s has %u of them", o->state, s->fleet.buses);
	if (o->seed >= 0 && (uint64_t)o->seed != s->fleet.seed)
		return say("--seed: %s has %" PRIu64, o->state, s->fleet.seed);
	if (o->from && strcmp(o->from, from) != 0)
		return say("--from: %s begins with %s", o->state, from);
	if (o->zone && strcmp(o->zone, s->zone) != 0)
		return say("--zone: %s has \"%s\"", o->state, s->zone);
	return 0;
}

static int begin_new(struct pw_fleet_state *s, const struct pw_fleet_options *o)
{
	if (o->buses < 0 || o->days < 1 || o->seed < 0)
		return say("expected --buses, --days (1 at least) and --seed");
	s->fleet.buses = (unsigned)o->buses;
	s->fleet.seed = (uint64_t)o->seed;
	if (o->from)
		return pw_date_read(o->from, &s->fleet.from)
			? say("--from: expected a date as 2026-10-05, not \"%s\"", o->from) : 0;
	s->fleet.from = pw_date_of((int64_t)time(NULL) * 1000) - (int32_t)o->days;
	return 0;
}

static int set_zone(struct pw_fleet_state *s, const struct pw_fleet_options *o)
{
	if (!s->begun && o->zone) {
		if (strlen(o->zone) >= sizeof(s->zone))
			return say("--zone: expected a shorter name");
		strcpy(s->zone, o->zone);
	}
	if (pw_zone_set(s->zone))
		return say("--zone: expected a name as America/Chicago, which the zone database "
			   "has, not \"%s\"", s->zone);
	return 0;
}

/* Days, buses, dates: as the state has them, and on from there. */
static int settle(struct pw_fleet_state *s, const struct pw_fleet_options *o)
{
	int status = s->begun ? same(s, o) : 0;

	if (status || (status = set_zone(s, o)) || (!s->begun && (status = begin_new(s, o))))
		return status;
	s->fleet.days = s->before + (o->days > 0 ? (unsigned)o->days : 0);
	pw_fleet_place(&s->fleet);
	return 0;
}

/* -- the call ---------------------------------------------------------------------------------- */

static int tell_all(struct pw_fleet_state *s, const struct pw_fleet_options *o, char *why,
		    size_t size)
{
	const unsigned since = s->fleet.days > s->before ? s->before : 0;

	if (o->list && pw_fleet_list(&s->fleet, since, stdout, why, size))
		return PW_EXIT_BAD;
	if (o->runs && pw_fleet_run_sheet(&s->fleet, since, o->runs, why, size))
		return PW_EXIT_BAD;
	if (o->out && pw_fleet_exports(s, o->out, why, size))
		return PW_EXIT_BAD;
	return PW_EXIT_OK;
}

/* Has each a token, or a code to get one by? */
static int all_known(const struct pw_fleet_state *s)
{
	char first[PW_NAME_MAX];
	unsigned unknown = 0;

	for (unsigned i = s->fleet.buses; i-- > 0;)
		if (s->bus[i].token[0] == '\0' && s->bus[i].code[0] == '\0') {
			pw_fleet_bus_name(i, first);
			unknown++;
		}
	if (unknown == 0)
		return 0;
	return say("--codes: expected a code for %s%s: no token was kept", first,
		   unknown > 1 ? " and others" : "");
}

/* Nothing is kept or sent before all that was given is found good, and what was asked is told. */
static int run(struct pw_fleet_state *s, const struct pw_fleet_options *o)
{
	char why[500] = "";
	struct pw_place office;
	int status;

	if (pw_fleet_state_open(s, o->state, why, sizeof(why)))
		return say("%s", why);
	if (settle(s, o))
		return PW_EXIT_BAD;
	if (pw_fleet_state_room(s))
		return say("no memory for %u buses", s->fleet.buses);
	if (o->codes && pw_fleet_codes_read(s, o->codes, why, sizeof(why)))
		return why[0] ? say("%s", why) : PW_EXIT_BAD;
	if (o->to && (pw_fleet_office(o, &office, why, sizeof(why)) || (status = all_known(s))))
		return why[0] ? say("%s", why) : status;
	if (tell_all(s, o, why, sizeof(why)) || pw_fleet_state_begin(s, why, sizeof(why)))
		return say("%s", why);
	return o->to ? pw_fleet_send(s, o, &office) : PW_EXIT_OK;
}

int pw_fleet(int argc, char **argv)
{
	struct pw_fleet_options o;
	struct pw_fleet_state state;
	int status;

	if (sodium_init() < 0)
		return say("libsodium cannot begin");
	if (read_options(argc, argv, &o))
		return PW_EXIT_BAD;
	status = run(&state, &o);
	pw_fleet_state_close(&state);
	if (fflush(stdout) || ferror(stdout))
		return say("standard output cannot be written");
	return status;
}
