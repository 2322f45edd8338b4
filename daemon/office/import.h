/* SPDX-License-Identifier: Apache-2.0 */
/*
 * import.h - a run sheet or a GTFS feed into the store.
 *
 * Read first, off the desk, and told line by line; then taken, all of it or nothing, in one transaction on
 * the desk. What is to be said of lines is docs/runs.md. Errors: 0; -1, -2 with one sentence in why.
 */
#ifndef POSTWALK_OFFICE_IMPORT_H
#define POSTWALK_OFFICE_IMPORT_H

#include "postwalk/store.h"
#include "runs.h"

#define PW_IMPORT_BYTES_MAX ((size_t)256 << 20) /* of a sheet */

struct pw_import_from {
	const char *who;              /* a code */
	const char *zone;             /* of rows of a sheet that name none; "": the machine's */
	const char *buses;            /* which bus has a block of a feed: a file */
	int32_t from, to;             /* the days of a feed */
	int64_t now_ms;
	bool (*known)(void *ctx, const char *bus); /* NULL: any bus is */
	void *ctx;
};
struct pw_importing {
	struct pw_import import;      /* its id is 0 until it is taken */
	struct pw_sheet *sheet;       /* runs and notes, by file and line */
	size_t no_bus;                /* runs of a feed that no bus is known for: refused too, and not noted one by one */
	int32_t first, last;          /* days of the runs that can be taken; 0: there is none */
};

/* A sheet as it came. name: of its file, with or without folders. hash: SHA-256 of the text. */
int pw_import_sheet(const void *text, size_t length, const char *name,
		    const struct pw_import_from *from, struct pw_importing **i, char *why, size_t size);
/* The folder of a feed. hash: SHA-256 of what sha256sum says of its files, in the order of docs/runs.md, and of
 * the table of buses behind them. */
int pw_import_feed(const char *folder, const struct pw_import_from *from, struct pw_importing **i,
		   char *why, size_t size);
void pw_importing_free(struct pw_importing *i);

/* ctx: a struct pw_importing. All that can be taken of it, and a line in the office's log; for
 * pw_desk_do_alone. Whoever calls it has decided about refused lines. */
int pw_import_work(struct pw_store *s, void *ctx, char *why, size_t size);

#endif
