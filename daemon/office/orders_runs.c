/* SPDX-License-Identifier: Apache-2.0 */
/* Planned runs by the shell: a run sheet, or the folder of a GTFS feed. */
#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "commands_internal.h"
#include "import.h"

#define PATH_ROOM 4400

static bool known(void *ctx, const char *bus)
{
	return pw_roll_has(ctx, bus);
}

/* -- read -------------------------------------------------------------------------------------- */

static int sheet_text(struct pw_order *c, int fd, const char *path, size_t length,
		      const struct pw_import_from *from, struct pw_importing **i)
{
	char why[320] = "no memory for it", *text = malloc(length + 1);
	size_t got = 0;
	ssize_t n = -1;
	int result = -1;

	while (text && got < length && (n = read(fd, text + got, length - got)) > 0)
		got += (size_t)n;
	if (text && n < 0 && length > 0)
		snprintf(why, sizeof(why), "%s", strerror(errno));
	else if (text)
		result = pw_import_sheet(text, got, path, from, i, why, sizeof(why));
	free(text);
	if (result == -1)
		return pw_order_not(c, "%s: %s", path, why);
	return result ? pw_order_bad(c, "%s: %s", path, why) : 0;
}

static int read_sheet(struct pw_order *c, const char *path, const struct pw_import_from *from,
		      struct pw_importing **i)
{
	const int fd = open(path, O_RDONLY | O_NONBLOCK | O_CLOEXEC);
	struct stat st;
	int status;

	if (c->from || c->to || c->buses)
		status = pw_order_bad(c, "expected --from, --to and --buses with the folder of a feed, "
				      "and %s is none", path);
	else if (fd < 0 || fstat(fd, &st))
		status = pw_order_bad(c, "%s: %s", path, strerror(errno));
	else if (!S_ISREG(st.st_mode) || (size_t)st.st_size > PW_IMPORT_BYTES_MAX)
		status = pw_order_bad(c, "%s: expected a file of at most %zu MiB, or a folder", path,
				      PW_IMPORT_BYTES_MAX >> 20);
	else
		status = sheet_text(c, fd, path, (size_t)st.st_size, from, i);
	if (fd >= 0)
		close(fd);
	return status;
}

static int read_feed(struct pw_order *c, const char *path, struct pw_import_from *from,
		     struct pw_importing **i)
{
	char why[320], buses[PATH_ROOM];
	int result;

	if (c->zone)
		return pw_order_bad(c, "expected no --zone: a feed has one of its own");
	from->from = c->from ? pw_day_read(c->from) : 0;
	from->to = c->to ? pw_day_read(c->to) : 0;
	if (!from->from || !from->to || !c->buses)
		return pw_order_bad(c, "expected --from and --to, days as 2025-10-14, and --buses FILE "
				    "with the folder of a feed");
	pw_order_path(c, c->buses, buses, sizeof(buses));
	from->buses = buses;
	result = pw_import_feed(path, from, i, why, sizeof(why));
	from->buses = NULL;
	if (result == -1)
		return pw_order_not(c, "%s: %s", path, why);
	return result ? pw_order_bad(c, "%s: %s", path, why) : 0;
}

/* -- told -------------------------------------------------------------------------------------- */

static void print_notes(const struct pw_importing *i, FILE *out)
{
	for (size_t n = 0; n < i->sheet->notes; n++) {
		const struct pw_row_note *note = &i->sheet->note[n];

		fprintf(out, "%s", note->file[0] != '\0' ? note->file : i->import.file);
		if (note->line)
			fprintf(out, ":%" PRIu32, note->line);
		fprintf(out, ": %s: %s: %s\n", note->taken ? "taken" : "refused",
			pw_row_name(note->why), note->words);
	}
	if (i->no_bus)
		fprintf(out, "%s: refused: %zu runs of blocks that have no bus on that day\n",
			i->import.file, i->no_bus);
}

static void print_days(const struct pw_importing *i, FILE *out)
{
	char text[2][PW_HOURS_TEXT_MAX];

	if (i->import.taken == 0)
		return;
	pw_hours_date(i->first, text[0]);
	pw_hours_date(i->last, text[1]);
	fprintf(out, " of %s", text[0]);
	if (i->first != i->last)
		fprintf(out, " to %s", text[1]);
}

/* As many are taken, as many are not, and what is to be done. */
static int print_end(struct pw_order *c, const struct pw_importing *i, bool took)
{
	fprintf(c->out, "%s: %" PRIu32 " runs", i->import.file, i->import.taken);
	print_days(i, c->out);
	if (took)
		fprintf(c->out, " taken as import %" PRIu64, i->import.id);
	else
		fprintf(c->out, " can be taken");
	fprintf(c->out, "; %" PRIu32 " refused\n", i->import.refused);
	if (took || (c->try && (c->partly || i->import.refused == 0)))
		return PW_EXIT_OK;
	if (c->try)
		return PW_EXIT_BAD;
	return pw_order_bad(c, "nothing was taken: mend what is refused, or take the rest with "
			    "--partly");
}

int pw_do_runs(struct pw_order *c)
{
	struct pw_import_from from = { .who = c->by, .zone = c->zone ? c->zone : c->o->conf.zone,
				       .now_ms = pw_office_now_ms(), .known = known,
				       .ctx = c->o->roll };
	struct pw_importing *i = NULL;
	char path[PATH_ROOM], why[240];
	struct stat st;
	bool take;
	int status;

	pw_order_path(c, c->argv[1], path, sizeof(path));
	if (stat(path, &st) == 0 && S_ISDIR(st.st_mode))
		status = read_feed(c, path, &from, &i);
	else
		status = read_sheet(c, path, &from, &i);
	if (status)
		return status;
	print_notes(i, c->out);
	take = !c->try && i->import.taken > 0 && (c->partly || i->import.refused == 0);
	if (take)
		status = pw_desk_do_alone(c->o->desk, pw_import_work, i, why, sizeof(why));
	if (status)
		status = status == -1 ? pw_order_not(c, "%s", why) : pw_order_bad(c, "%s", why);
	else
		status = print_end(c, i, take);
	pw_importing_free(i);
	return status;
}
