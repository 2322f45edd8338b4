/* SPDX-License-Identifier: Apache-2.0 */
/* The commands of the shell, as a table: what each takes, and who does it. */
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include "commands_internal.h"
#include "postwalk/text.h"

/* O_ALL and above have no value. */
enum option {
	O_BY = 1, O_WORDS = 2, O_KEY = 4, O_EPOCH = 8, O_BRANCH = 16, O_DAY = 32, O_SINCE = 64,
	O_ROLE = 128, O_SOURCE = 256, O_ZONE = 512, O_FROM = 1024, O_TO = 2048, O_BUSES = 4096,
	O_UNTIL = 8192,
	O_ALL = 1 << 16, O_JSON = 1 << 17, O_FRESH = 1 << 18, O_TRY = 1 << 19, O_PARTLY = 1 << 20
};

static const struct command {
	const char *name;
	int (*run)(struct pw_order *c);
	unsigned takes, needs; /* options */
	int least, most;       /* arguments; most -1: what stands behind it is its own to read */
	const char *use, *help;
} commands[] = {
	{ "enrol", pw_do_enrol, O_BY | O_JSON, 0, 1, PW_ORDER_ARGS - 1, "BUS... [--by CODE]",
	  "make a one-time code for each bus, good for 14 days" },
	{ "keys", pw_do_keys, O_ALL | O_JSON, 0, 0, 0, "[--all] [--json]",
	  "keys that wait for a decision; all that ever were" },
	{ "accept", pw_do_accept, O_KEY | O_BY | O_WORDS, O_BY | O_WORDS, 1, 1,
	  "BUS [--key FINGERPRINT] --by CODE --words WORDS",
	  "the key that waits is the bus's from now on" },
	{ "refuse", pw_do_refuse, O_KEY | O_BY | O_WORDS, O_BY | O_WORDS, 1, 1,
	  "BUS [--key FINGERPRINT] --by CODE --words WORDS",
	  "the key that waits is not the bus's" },
	{ "buses", pw_do_buses, O_JSON, 0, 0, 0, "[--json]",
	  "what buses there are, and how far they came" },
	{ "matters", pw_do_matters, O_ALL | O_JSON, 0, 0, 0, "[--all] [--json]",
	  "what asks for a person; --all: what was taken as well" },
	{ "take", pw_do_take, O_BY | O_WORDS, O_BY | O_WORDS, 1, 1, "ID --by CODE --words WORDS",
	  "somebody sees to a matter, and says so" },
	{ "figures", pw_do_figures, O_JSON, 0, 0, 0, "[--json]",
	  "how much there is of everything" },
	{ "export", pw_do_export, O_EPOCH | O_BRANCH, 0, 1, 1, "BUS [--epoch EPOCH] [--branch N]",
	  "a bus's records and seals as it sealed them, for postwalk verify" },
	{ "pack", pw_do_pack, O_SINCE | O_UNTIL, O_SINCE | O_UNTIL, 1, PW_ORDER_ARGS - 1,
	  "DIR --since YYYY-MM-DD --until YYYY-MM-DD [BUS...]",
	  "a folder for an auditor: report, rows, signed records, keys, and how to check it" },
	{ "take-in", pw_do_take_in, 0, 0, 1, 1, "FILE",
	  "an export of a bus's journal, through the same checks" },
	{ "runs", pw_do_runs, O_BY | O_ZONE | O_FROM | O_TO | O_BUSES | O_TRY | O_PARTLY, O_BY, 1, 1,
	  "SHEET [--zone ZONE] [--partly] [--try] --by CODE, or\n"
	  "        FEED --from DAY --to DAY --buses FILE [--partly] [--try] --by CODE",
	  "planned runs of a run sheet or of a GTFS folder; --try: only told; --partly: the good "
	  "lines\n        although others are refused" },
	{ "copy", pw_do_copy, 0, 0, 1, 1, "FILE",
	  "a whole copy of the SQLite store, while it is in use" },
	{ "log", pw_do_log, O_SINCE | O_JSON, 0, 0, 0, "[--since YYYY-MM-DD] [--json]",
	  "who did what here" },
	{ "tell", pw_do_tell, 0, 0, 0, 0, "", "send a test message by mail and webhook" },
	{ "account", pw_do_account, O_ROLE | O_FRESH | O_BY, O_ROLE, 1, 1,
	  "CODE --role see|act|administer|nothing [--fresh] [--by CODE]",
	  "who may sign in to the pages; --fresh: a new first password is drawn" },
	{ "audit", pw_do_audit, 0, 0, 1, -1,
	  "PAGE [--FIELD VALUE]... [--whole] [--csv [TABLE] | --jsonl | --text] "
	  "[--tongue en|es|fr]",
	  "what a page of the office says, with the same numbers" },
	{ "warmth", pw_do_warmth, O_SOURCE | O_BY, O_SOURCE, 1, 1, "FILE --source WORDS [--by CODE]",
	  "temperatures of a CSV file: columns at, celsius or fahrenheit, and perhaps bus" },
	{ "digest", pw_do_digest, O_DAY, 0, 0, 0, "[--day YYYY-MM-DD]", "what is told of a day" },
};

/* -- options ----------------------------------------------------------------------------------- */

static const struct { const char *name; enum option bit; size_t at; } options[] = {
	{ "--by", O_BY, offsetof(struct pw_order, by) },
	{ "--words", O_WORDS, offsetof(struct pw_order, words) },
	{ "--key", O_KEY, offsetof(struct pw_order, key) },
	{ "--epoch", O_EPOCH, offsetof(struct pw_order, epoch) },
	{ "--branch", O_BRANCH, offsetof(struct pw_order, branch) },
	{ "--day", O_DAY, offsetof(struct pw_order, day) },
	{ "--since", O_SINCE, offsetof(struct pw_order, since) },
	{ "--until", O_UNTIL, offsetof(struct pw_order, until) },
	{ "--role", O_ROLE, offsetof(struct pw_order, role) },
	{ "--source", O_SOURCE, offsetof(struct pw_order, source) },
	{ "--zone", O_ZONE, offsetof(struct pw_order, zone) },
	{ "--from", O_FROM, offsetof(struct pw_order, from) },
	{ "--to", O_TO, offsetof(struct pw_order, to) },
	{ "--buses", O_BUSES, offsetof(struct pw_order, buses) },
	{ "--all", O_ALL, offsetof(struct pw_order, all) },
	{ "--json", O_JSON, offsetof(struct pw_order, json) },
	{ "--fresh", O_FRESH, offsetof(struct pw_order, fresh) },
	{ "--try", O_TRY, offsetof(struct pw_order, try) },
	{ "--partly", O_PARTLY, offsetof(struct pw_order, partly) },
};
#define OPTIONS (sizeof(options) / sizeof(options[0]))

/* How many arguments it was; 0: it is none of this command's, or its value is missing. */
static int take_option(struct pw_order *c, const struct command *command, char **argv,
		       unsigned *given)
{
	for (size_t i = 0; i < OPTIONS; i++) {
		void *to = (char *)c + options[i].at;

		if (strcmp(argv[0], options[i].name) != 0 || !(command->takes & options[i].bit))
			continue;
		*given |= options[i].bit;
		if (options[i].bit >= O_ALL) {
			*(bool *)to = true;
			return 1;
		}
		if (!argv[1])
			return 0;
		*(const char **)to = argv[1];
		return 2;
	}
	return 0;
}

static int use_of(struct pw_order *c, const struct command *command)
{
	return pw_order_bad(c, "expected postwalk-office %s %s", command->name, command->use);
}

static int check_who(struct pw_order *c)
{
	if (c->by && (!pw_chain_word(c->by) || strlen(c->by) > 15))
		return pw_order_bad(c, "expected --by a code of at most 15 of A-Z a-z 0-9 . _ -");
	if (c->words &&
	    (c->words[0] == '\0' || strlen(c->words) > 160 || strpbrk(c->words, "\n\r\t")))
		return pw_order_bad(c, "expected --words of 1 to 160 bytes on one line");
	return 0;
}

static int take_all(struct pw_order *c, const struct command *command, int argc, char **argv)
{
	for (int i = 0; i < argc && c->argc < PW_ORDER_ARGS; i++)
		c->argv[c->argc++] = argv[i];
	return argc - 1 < command->least ? use_of(c, command) : 0;
}

static int take_arguments(struct pw_order *c, const struct command *command, int argc, char **argv)
{
	unsigned given = 0;

	if (command->most < 0)
		return take_all(c, command, argc, argv);
	c->argv[c->argc++] = argv[0];
	for (int i = 1, n; i < argc; i += n) {
		n = 1;
		if (strncmp(argv[i], "--", 2) == 0)
			n = take_option(c, command, argv + i, &given);
		else if (c->argc <= command->most)
			c->argv[c->argc++] = argv[i];
		else
			n = 0;
		if (n == 0)
			return use_of(c, command);
	}
	if (c->argc - 1 < command->least || (command->needs & ~given))
		return use_of(c, command);
	return check_who(c);
}

/* -- what the commands share ------------------------------------------------------------------- */

static int fail(struct pw_order *c, int status, const char *format, va_list args)
{
	fprintf(c->err, "postwalk-office: ");
	vfprintf(c->err, format, args);
	fprintf(c->err, "\n");
	return status;
}

int pw_order_bad(struct pw_order *c, const char *format, ...)
{
	va_list args;

	va_start(args, format);
	fail(c, PW_EXIT_BAD, format, args);
	va_end(args);
	return PW_EXIT_BAD;
}

int pw_order_not(struct pw_order *c, const char *format, ...)
{
	va_list args;

	va_start(args, format);
	fail(c, PW_EXIT_NOT, format, args);
	va_end(args);
	return PW_EXIT_NOT;
}

int pw_order_desk(struct pw_order *c,
		  int (*work)(struct pw_store *s, void *ctx, char *why, size_t size), void *ctx)
{
	char why[240];
	int result = pw_desk_do(c->o->desk, work, ctx, why, sizeof(why));

	if (result == 0)
		return 0;
	return result == -1 ? pw_order_not(c, "%s", why) : pw_order_bad(c, "%s", why);
}

void pw_order_path(const struct pw_order *c, const char *name, char *path, size_t size)
{
	if (name[0] == '/')
		snprintf(path, size, "%s", name);
	else
		snprintf(path, size, "%s/%s", c->cwd, name);
}

int32_t pw_day_read(const char *text)
{
	int year, month, day, n = 0;
	int32_t is;

	if (strlen(text) != 10 || sscanf(text, "%4d-%2d-%2d%n", &year, &month, &day, &n) != 3 ||
	    n != 10)
		return 0;
	is = year * 10000 + month * 100 + day;
	return pw_hours_add(pw_hours_add(is, 1), -1) == is ? is : 0;
}

/* ---------------------------------------------------------------------------------------------- */

int pw_command(struct pw_office *o, int argc, char **argv, const char *cwd, FILE *out, FILE *err)
{
	struct pw_order c = { .o = o, .cwd = cwd, .out = out, .err = err };
	int status;

	for (size_t i = 0; i < sizeof(commands) / sizeof(commands[0]); i++) {
		if (strcmp(argv[0], commands[i].name) != 0)
			continue;
		status = take_arguments(&c, &commands[i], argc, argv);
		return status ? status : commands[i].run(&c);
	}
	return pw_order_bad(&c,
			    "expected a command, not \"%.40s\"; postwalk-office --help lists them",
			    argv[0]);
}

void pw_command_help(FILE *out)
{
	fprintf(out,
		"postwalk-office serve [--office DIR]\n        take in what the buses deliver\n");
	for (size_t i = 0; i < sizeof(commands) / sizeof(commands[0]); i++)
		fprintf(out, "postwalk-office %s [--office DIR] %s\n        %s\n", commands[i].name,
			commands[i].use, commands[i].help);
	fprintf(out, "pages for audit:\n");
	pw_audit_help(out);
}
