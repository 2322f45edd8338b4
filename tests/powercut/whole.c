/* SPDX-License-Identifier: Apache-2.0 */
#include "whole.h"

#include <dirent.h>
#include <inttypes.h>
#include <sqlite3.h>
#include <stdio.h>
#include <string.h>

static void take_finding(void *ctx, const struct pw_found *f)
{
	struct whole *w = ctx;
	size_t n = strlen(w->words);

	if (f->flaw != PW_FLAW_UNSEALED)
		snprintf(w->words + n, sizeof(w->words) - n, "%sseq %" PRIu64 ": %s",
			 n > 0 ? "; " : "", f->seq, f->words);
}

static int give_seal(struct pw_journal *j, struct pw_check *c, const struct pw_record *r, char *why,
		     size_t size)
{
	struct pw_seal s;
	int got = pw_journal_read_seal(j, r->seq, &s, why, size);

	if (got == 1 && s.seq == r->seq)
		pw_check_seal(c, &s);
	return got < 0 ? got : 0;
}

static int look(struct pw_journal *j, struct whole *w, struct pw_check *c, char *why, size_t size)
{
	struct pw_record r = { 0 };
	int got;

	while ((got = pw_journal_read(j, r.seq + 1, &r, why, size)) == 1) {
		pw_check_record(c, &r);
		if (w->each)
			w->each(w->ctx, &r);
		if ((got = give_seal(j, c, &r, why, size)) < 0)
			break;
	}
	pw_check_end(c);
	return got;
}

void whole_look(const char *folder, struct whole *w)
{
	char path[128], why[256] = "";
	struct pw_public_key key;
	struct pw_journal *j;
	struct pw_check c;

	w->words[0] = '\0';
	snprintf(path, sizeof(path), "%s/bus.pub", folder);
	if (pw_public_key_load(path, &key, w->words, sizeof(w->words)) < 0)
		return;
	snprintf(path, sizeof(path), "%s/journal.db", folder);
	if (pw_journal_open(path, NULL, false, &j, w->words, sizeof(w->words)) < 0)
		return;
	pw_check_begin(&c, pw_journal_bus(j), &key, take_finding, w);
	if (look(j, w, &c, why, sizeof(why)) < 0)
		snprintf(w->words, sizeof(w->words), "%s", why);
	w->records = c.records;
	w->seals = c.seals;
	w->sealed = c.sealed;
	memcpy(w->epoch, c.epoch, sizeof(w->epoch));
	pw_journal_close(j);
}

int whole_file(const char *path, char *words, size_t size)
{
	sqlite3_stmt *s = NULL;
	sqlite3 *db = NULL;
	int result = -1;

	if (sqlite3_open_v2(path, &db, SQLITE_OPEN_READONLY, NULL) != SQLITE_OK ||
	    sqlite3_prepare_v2(db, "PRAGMA integrity_check", -1, &s, NULL) != SQLITE_OK ||
	    sqlite3_step(s) != SQLITE_ROW)
		snprintf(words, size, "%s", sqlite3_errmsg(db));
	else if (strcmp((const char *)sqlite3_column_text(s, 0), "ok") != 0)
		snprintf(words, size, "%s", (const char *)sqlite3_column_text(s, 0));
	else
		result = 0;
	sqlite3_finalize(s);
	sqlite3_close(db);
	return result;
}

bool whole_aside(const char *folder, char *name, size_t size)
{
	DIR *dir = opendir(folder);
	struct dirent *e;
	bool found = false;

	while (dir && !found && (e = readdir(dir))) {
		found = strstr(e->d_name, "damaged") != NULL;
		if (found)
			snprintf(name, size, "%s", e->d_name);
	}
	if (dir)
		closedir(dir);
	return found;
}
