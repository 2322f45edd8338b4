/* SPDX-License-Identifier: Apache-2.0 */
/* How the bus stands, for a person at a shell: /status.json of the page, in a few lines. */
#include <getopt.h>
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "tool_internal.h"

#define URL "http://127.0.0.1:8787"

static const char *text_of(const json_t *object, const char *key)
{
	const char *text = json_string_value(json_object_get(object, key));

	return text ? text : "";
}

/* What another program said must not move the cursor of this terminal. */
static void say_to(FILE *to, const char *text)
{
	for (; *text; text++)
		putc((unsigned char)*text < ' ' || *text == 0x7f ? '?' : *text, to);
}

static void say(const char *text)
{
	say_to(stdout, text);
}

static int fail(const char *url, const char *why)
{
	fputs("postwalk status: ", stderr);
	say_to(stderr, url);
	fprintf(stderr, ": %s\n", why);
	return PW_EXIT_BAD;
}

static void say_padded(const char *text, int width)
{
	say(text);
	for (int n = (int)strlen(text); n < width; n++)
		putchar(' ');
}

/* -- spans ------------------------------------------------------------------------------------- */

/* Seconds in the largest two units. */
static const char *span(double s, char buf[32])
{
	long long whole = (long long)s;

	if (s < 60)
		snprintf(buf, 32, "%.1f s", s);
	else if (whole < 3600)
		snprintf(buf, 32, "%lld min %02lld s", whole / 60, whole % 60);
	else if (whole < 86400)
		snprintf(buf, 32, "%lld h %02lld min", whole / 3600, whole / 60 % 60);
	else
		snprintf(buf, 32, "%lld d %lld h", whole / 86400, whole / 3600 % 24);
	return buf;
}

/* before SPAN after, where there is such a span; false where there is none. */
static bool say_span(const char *before, const json_t *object, const char *key, const char *after)
{
	const json_t *value = json_object_get(object, key);
	char buf[32];

	if (!json_is_number(value))
		return false;
	printf("%s%s%s", before, span(json_number_value(value), buf), after);
	return true;
}

/* -- parts ------------------------------------------------------------------------------------- */

static const char *phase_words(const char *phase)
{
	static const char *const words[][2] = {
		{ "parked", "Parked" }, { "driving", "Driving" }, { "owed", "Sweep owed" },
		{ "overdue", "Sweep overdue" }, { "walk_back", "Press acknowledged" },
	};

	for (size_t i = 0; i < sizeof(words) / sizeof(words[0]); i++)
		if (strcmp(words[i][0], phase) == 0)
			return words[i][1];
	return phase;
}

static void say_findings(const json_t *object)
{
	const json_t *one;
	size_t i;

	json_array_foreach(json_object_get(object, "findings"), i, one) {
		putchar(' ');
		say(json_string_value(one) ? json_string_value(one) : "");
	}
}

static void say_sweep(const json_t *sweep)
{
	const json_t *refused = json_object_get(sweep, "refused");

	if (!json_is_object(sweep))
		return;
	say_span("Open for ", sweep, "open_s", "");
	say_span("; ", sweep, "left_s", " left");
	say_span("; overdue by ", sweep, "over_s", "");
	say_span("; pressed ", sweep, "pressed_ago_s", " ago");
	puts(".");
	if (json_is_object(refused)) {
		printf("A press was refused: ");
		say(text_of(refused, "why"));
		say_span(", ", refused, "ago_s", " ago");
		puts(".");
	}
	if (json_array_size(json_object_get(sweep, "findings")) == 0)
		return;
	printf("Noted so far:");
	say_findings(sweep);
	putchar('\n');
}

static void say_head(const json_t *status)
{
	const json_t *service = json_object_get(status, "service");

	printf("Bus ");
	say(text_of(status, "bus"));
	printf(" (");
	say(text_of(status, "board"));
	printf("), ");
	say(text_of(status, "at"));
	printf("\n\n");
	say(phase_words(text_of(status, "phase")));
	printf(". ");
	say(text_of(status, "headline"));
	putchar('\n');
	say(text_of(status, "next"));
	putchar('\n');
	say_sweep(json_object_get(status, "sweep"));
	if (strcmp(text_of(status, "rung"), "none") != 0) {
		printf("Signal: ");
		say(text_of(status, "rung"));
		putchar('\n');
	}
	if (json_is_true(json_object_get(status, "carried")))
		puts("The sweep before was missed: its debt goes on.");
	if (json_is_true(json_object_get(service, "on"))) {
		printf("Service is on: beeper and horn are muted");
		say_span(", ", service, "left_s", " more");
		puts(".");
	}
}

static void say_faults(const json_t *faults)
{
	const json_t *fault;
	size_t i;

	puts(json_array_size(faults) ? "\nFaults" : "\nFaults: none known");
	json_array_foreach(faults, i, fault) {
		printf("  ");
		say_padded(text_of(fault, "name"), 16);
		putchar(' ');
		say(text_of(fault, "words"));
		putchar('\n');
	}
}

static void say_lines(const json_t *lines)
{
	const json_t *line;
	size_t i;

	puts("\nLines");
	json_array_foreach(lines, i, line) {
		printf("  ");
		say_padded(text_of(line, "name"), 16);
		printf(" %d  ", (int)json_integer_value(json_object_get(line, "level")));
		say_padded(text_of(line, "word"), 10);
		if (!say_span("for ", line, "changed_ago_s", ""))
			printf("not seen to change");
		if (json_is_string(json_object_get(line, "fault"))) {
			printf("  fault: ");
			say(text_of(line, "fault"));
		}
		putchar('\n');
	}
}

/* "2026-03-04T15:02:11.000+01:00": the day and the minute are enough. */
static void say_minute(const char *at)
{
	if (strlen(at) < 16) {
		say_padded(at, 16);
		return;
	}
	printf("%.10s %.5s", at, at + 11);
}

static void say_recent(const json_t *recent)
{
	const json_t *sweep;
	size_t i;

	puts(json_array_size(recent) ? "\nLast sweeps (when it stopped, verdict)"
				     : "\nLast sweeps: none yet");
	json_array_foreach(recent, i, sweep) {
		const json_t *late = json_object_get(sweep, "late_s");

		printf("  ");
		say_minute(text_of(sweep, "stop_at"));
		printf("  ");
		say_padded(text_of(sweep, "verdict"), 10);
		if (!say_span("pressed after ", sweep, "walk_s", ""))
			printf("no press");
		if (json_number_value(late) > 0)
			say_span(", late by ", sweep, "late_s", "");
		if (json_array_size(json_object_get(sweep, "findings")) > 0) {
			printf(" ;");
			say_findings(sweep);
		}
		putchar('\n');
	}
}

static void say_journal(const json_t *journal)
{
	printf("\nRecords kept: %lld; not yet on the disk: %lld\n",
	       (long long)json_integer_value(json_object_get(journal, "kept")),
	       (long long)json_integer_value(json_object_get(journal, "waiting")));
}

static void say_delivery(const json_t *delivery)
{
	static const struct { const char *state, *words; } states[] = {
		{ "none", "no uplink runs, or the bus is not enrolled" },
		{ "away", "it cannot be reached now" },
		{ "sending", "records are on their way to it" },
		{ "done", "it has all that is sealed" },
		{ "refused", "it is refused, and somebody must look" },
	};
	const char *state = text_of(delivery, "state"), *words = text_of(delivery, "words");
	const json_int_t alerts = json_integer_value(json_object_get(delivery, "alerts_waiting"));

	for (size_t i = 0; i < sizeof(states) / sizeof(states[0]); i++)
		if (strcmp(state, states[i].state) == 0)
			state = states[i].words;
	fputs("Office: ", stdout);
	say(state);
	fputs(words[0] ? ": " : "", stdout);
	say(words);
	if (text_of(delivery, "receipted_at")[0]) {
		printf("\nIt confirmed all up to record %lld at ",
		       (long long)json_integer_value(json_object_get(delivery, "receipted")));
		say_minute(text_of(delivery, "receipted_at"));
	}
	if (alerts > 0)
		printf("\nAlerts that it has not confirmed: %lld", (long long)alerts);
	putchar('\n');
}

static void say_end(void)
{
	puts("A press says that somebody stood at the rear, and nothing else.");
}

/* -- the command ------------------------------------------------------------------------------- */

static bool is_status(const json_t *status)
{
	return json_integer_value(json_object_get(status, "version")) == 1 &&
	       json_is_string(json_object_get(status, "phase")) &&
	       json_is_array(json_object_get(status, "lines")) &&
	       json_is_array(json_object_get(status, "faults")) &&
	       json_is_array(json_object_get(status, "recent"));
}

static int print_status(const char *url, const char *body)
{
	json_t *status = json_loads(body, 0, NULL);

	if (!is_status(status)) {
		json_decref(status);
		return fail(url, "expected the status of a bus, version 1, as postwalkd gives it");
	}
	say_head(status);
	say_faults(json_object_get(status, "faults"));
	say_lines(json_object_get(status, "lines"));
	say_recent(json_object_get(status, "recent"));
	say_journal(json_object_get(status, "journal"));
	if (json_object_get(status, "delivery")) /* an older watch tells nothing of it */
		say_delivery(json_object_get(status, "delivery"));
	say_end();
	json_decref(status);
	return PW_EXIT_OK;
}

static int usage(void)
{
	fputs("usage: postwalk status [--url URL] [--json]\n"
	      "  --url URL  the page of the bus (" URL ")\n"
	      "  --json     as the page gave it\n", stderr);
	return PW_EXIT_BAD;
}

int pw_status(int argc, char **argv)
{
	static const struct option options[] = {
		{ "url", required_argument, NULL, 'u' },
		{ "json", no_argument, NULL, 'j' },
		{ 0 },
	};
	const char *url = URL;
	bool raw = false;
	char why[300], *body;
	int c, status = PW_EXIT_OK;

	while ((c = getopt_long(argc, argv, "", options, NULL)) != -1) {
		if (c == 'u')
			url = optarg;
		else if (c == 'j')
			raw = true;
		else
			return usage();
	}
	if (optind != argc)
		return usage();
	body = pw_http_get(url, "/status.json", why, sizeof(why));
	if (!body)
		return fail(url, why);
	if (raw)
		puts(body);
	else
		status = print_status(url, body);
	free(body);
	if (fflush(stdout) || ferror(stdout)) {
		fputs("postwalk status: standard output cannot be written\n", stderr);
		return PW_EXIT_BAD;
	}
	return status;
}
