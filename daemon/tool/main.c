/* SPDX-License-Identifier: Apache-2.0 */
#include <stdio.h>
#include <string.h>

#include "tool_internal.h"

static const struct command {
	const char *name;
	int (*run)(int argc, char **argv);
	const char *use, *help;
} commands[] = {
	{ "replay", pw_replay, "[--config FILE] [--rungs] TRACE...",
	  "judge recorded lines by the rules; JSON Lines" },
	{ "trace", pw_trace, "[--policy | --records] JOURNAL",
	  "what a journal's lines did, as a trace" },
	{ "journal", pw_journal, "[--since WHEN] [--kind KIND[,KIND]] [--sweep N] JOURNAL|EXPORT",
	  "what happened, a line a record; or one sweep told as a story" },
	{ "export", pw_export, "[--key PUB] JOURNAL",
	  "a journal with its seals and public key; JSON Lines" },
	{ "verify", pw_verify, "[--key PUB] FILE|JOURNAL...",
	  "is it sound, every record and seal of it?" },
	{ "bench", pw_bench, "SOCKET NAME=VALUE... | --play TRACE [--speed N] | --watch | "
	  "--page HOST:PORT [--bus URL] [--reachable]",
	  "play the wires of a bench board, or give it a page to play them on" },
	{ "pin", pw_pin, "--state DIR installer|mechanic",
	  "set the PIN of the installer's or the mechanic's pages" },
	{ "enrol", pw_enrol, "--state DIR --to URL --code CODE [--config FILE] [--ca FILE] "
	  "[--pin sha256//BASE64] [--office FINGERPRINT]",
	  "tie the bus to the office that it delivers to" },
	{ "uplink", pw_uplink, "--state DIR", "deliver to the office, as long as it runs" },
	{ "fleet", pw_fleet, "--buses N --days D --seed S [--to URL] [--list] [--runs FILE] [--out DIR] ...",
	  "a made-up district to try an office with" },
	{ "audit", pw_audit, "PAGE [--FIELD VALUE]... [--office DIR]",
	  "what a page of the office says; by postwalk-office, on its machine" },
	{ "status", pw_status, "[--url URL] [--json]", "how the bus stands now" },
};

int main(int argc, char **argv)
{
	size_t n = sizeof(commands) / sizeof(commands[0]);

	for (size_t i = 0; argc > 1 && i < n; i++)
		if (strcmp(argv[1], commands[i].name) == 0)
			return commands[i].run(argc - 1, argv + 1);
	if (argc > 1 && strcmp(argv[1], "--help") != 0)
		fprintf(stderr, "postwalk: expected a command, not \"%s\"\n", argv[1]);
	for (size_t i = 0; i < n; i++)
		fprintf(argc > 1 && strcmp(argv[1], "--help") == 0 ? stdout : stderr,
			"postwalk %s %s\n        %s\n", commands[i].name, commands[i].use,
			commands[i].help);
	return argc > 1 && strcmp(argv[1], "--help") == 0 ? PW_EXIT_OK : PW_EXIT_BAD;
}
