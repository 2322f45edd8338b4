/* SPDX-License-Identifier: Apache-2.0 */
#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <limits.h>
#include <sodium.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "import.h"
#include "postwalk/text.h"
#include "tell_internal.h"

#define PIECE 65536

static int no_memory(char *why, size_t size)
{
	snprintf(why, size, "no memory for so many runs");
	return -1;
}

static struct pw_importing *begin(const char *name, const struct pw_import_from *from)
{
	struct pw_importing *i = calloc(1, sizeof(*i));
	const char *slash = strrchr(name, '/');

	if (!i)
		return NULL;
	i->import.at_ms = from->now_ms;
	snprintf(i->import.who, sizeof(i->import.who), "%s", from->who);
	pw_words_copy(i->import.file, sizeof(i->import.file), slash ? slash + 1 : name);
	return i;
}

void pw_importing_free(struct pw_importing *i)
{
	if (i)
		pw_sheet_free(i->sheet);
	free(i);
}

/* What of it can be taken. */
static void count_up(struct pw_importing *i)
{
	const struct pw_sheet *s = i->sheet;

	for (size_t n = 0; n < s->runs; n++) {
		const int32_t day = s->run[n].date;

		if (s->run[n].bus[0] == '\0') {
			i->no_bus++;
			continue;
		}
		if (i->first == 0 || day < i->first)
			i->first = day;
		if (day > i->last)
			i->last = day;
	}
	i->import.taken = (uint32_t)(s->runs - i->no_bus);
	i->import.refused = (uint32_t)(s->refused + i->no_bus);
}

/* result: of the reader. */
static int finish(int result, struct pw_importing *i, struct pw_importing **out)
{
	if (result < 0) {
		pw_importing_free(i);
		return result;
	}
	count_up(i);
	*out = i;
	return 0;
}

/* -- a sheet ----------------------------------------------------------------------------------- */

int pw_import_sheet(const void *text, size_t length, const char *name,
		    const struct pw_import_from *from, struct pw_importing **out, char *why, size_t size)
{
	const struct pw_sheet_options o = { .zone = from->zone, .known = from->known,
					    .ctx = from->ctx };
	const struct iovec part = { (void *)(uintptr_t)text, length };
	struct pw_importing *i;
	FILE *f;
	int result;

	*out = NULL;
	if (length == 0) {
		snprintf(why, size, "it is empty; expected a line of headings and rows");
		return -2;
	}
	i = begin(name, from);
	f = i ? fmemopen((void *)(uintptr_t)text, length, "r") : NULL;
	if (!f) {
		pw_importing_free(i);
		return no_memory(why, size);
	}
	pw_sha256_hex(&part, 1, i->import.hash);
	result = pw_sheet_read(f, &o, &i->sheet, why, size);
	fclose(f);
	return finish(result, i, out);
}

/* -- a feed ------------------------------------------------------------------------------------ */

/* 0; 1: it is not there; -1 with why. */
static int hash_file(const char *path, char hex[65], char *why, size_t size)
{
	unsigned char piece[PIECE], hash[crypto_hash_sha256_BYTES];
	crypto_hash_sha256_state state;
	FILE *f = fopen(path, "re");
	size_t n;

	if (!f && errno == ENOENT)
		return 1;
	if (!f) {
		snprintf(why, size, "%s: %s", path, strerror(errno));
		return -1;
	}
	crypto_hash_sha256_init(&state);
	while ((n = fread(piece, 1, sizeof(piece), f)) > 0)
		crypto_hash_sha256_update(&state, piece, n);
	if (ferror(f)) {
		snprintf(why, size, "%s: %s", path, strerror(errno));
		fclose(f);
		return -1;
	}
	fclose(f);
	crypto_hash_sha256_final(&state, hash);
	sodium_bin2hex(hex, 65, hash, sizeof(hash));
	return 0;
}

/* A line as sha256sum has it, into the hash of all of them. */
static int add_line(crypto_hash_sha256_state *all, const char *path, const char *name, char *why,
		    size_t size)
{
	char hex[65], line[65 + PATH_MAX + 4];
	const int result = hash_file(path, hex, why, size);

	if (result)
		return result < 0 ? -1 : 0;
	snprintf(line, sizeof(line), "%s  %s\n", hex, name);
	crypto_hash_sha256_update(all, (const unsigned char *)line, strlen(line));
	return 0;
}

static int hash_feed(const char *folder, const char *buses, char hex[65], char *why, size_t size)
{
	static const char *const files[] = {
		"agency.txt", "calendar.txt", "calendar_dates.txt", "frequencies.txt",
		"routes.txt", "stop_times.txt", "stops.txt", "trips.txt",
	};
	unsigned char hash[crypto_hash_sha256_BYTES];
	crypto_hash_sha256_state all;
	char path[PATH_MAX];
	const char *slash = strrchr(buses, '/');
	int result = 0;

	crypto_hash_sha256_init(&all);
	for (size_t i = 0; result == 0 && i < sizeof(files) / sizeof(files[0]); i++) {
		snprintf(path, sizeof(path), "%s/%s", folder, files[i]);
		result = add_line(&all, path, files[i], why, size);
	}
	if (result == 0)
		result = add_line(&all, buses, slash ? slash + 1 : buses, why, size);
	crypto_hash_sha256_final(&all, hash);
	sodium_bin2hex(hex, 65, hash, sizeof(hash));
	return result;
}

int pw_import_feed(const char *folder, const struct pw_import_from *from, struct pw_importing **out,
		   char *why, size_t size)
{
	const struct pw_gtfs_options o = { .from = from->from, .to = from->to,
					   .buses = from->buses, .known = from->known,
					   .ctx = from->ctx };
	struct pw_importing *i;
	int result;

	*out = NULL;
	if (!from->buses) {
		snprintf(why, size, "a feed knows blocks and no buses; expected a table of buses "
			 "with the headings block_id and bus");
		return -2;
	}
	i = begin(folder, from);
	if (!i)
		return no_memory(why, size);
	result = hash_feed(folder, from->buses, i->import.hash, why, size);
	if (result == 0)
		result = pw_gtfs_read(folder, &o, &i->sheet, why, size);
	return finish(result, i, out);
}

/* -- taken ------------------------------------------------------------------------------------- */

static int take_run(struct pw_store *s, const struct pw_run *run, uint64_t import, char *why,
		    size_t size)
{
	struct pw_plan plan = { .day = run->date, .begin_ms = run->begin_ms, .end_ms = run->end_ms,
				.import = import };

	_Static_assert(sizeof(plan.run) == sizeof(run->run), "ids are of one length");
	_Static_assert(sizeof(plan.driver) == sizeof(run->driver), "codes are of one length");
	memcpy(plan.bus, run->bus, sizeof(plan.bus));
	memcpy(plan.run, run->run, sizeof(plan.run));
	memcpy(plan.route, run->route, sizeof(plan.route));
	memcpy(plan.place, run->place, sizeof(plan.place));
	memcpy(plan.driver, run->driver, sizeof(plan.driver));
	return pw_audit_plan(s, &plan, why, size);
}

static int log_import(struct pw_store *s, const struct pw_import *import, char *why, size_t size)
{
	char did[320];

	snprintf(did, sizeof(did), "imported %s as %" PRIu64 ": %" PRIu32 " runs taken, %" PRIu32
		 " lines refused", import->file, import->id, import->taken, import->refused);
	return pw_store_log(s, import->at_ms, import->who, did, why, size);
}

int pw_import_work(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct pw_importing *i = ctx;
	int result;

	i->import.id = 0;
	result = pw_audit_import(s, &i->import, why, size);
	for (size_t n = 0; result == 0 && n < i->sheet->runs; n++)
		if (i->sheet->run[n].bus[0] != '\0')
			result = take_run(s, &i->sheet->run[n], i->import.id, why, size);
	return result == 0 ? log_import(s, &i->import, why, size) : result;
}
