/* SPDX-License-Identifier: Apache-2.0 */
/* pack_internal.h - what the files of the pack share. */
#ifndef POSTWALK_OFFICE_PACK_INTERNAL_H
#define POSTWALK_OFFICE_PACK_INTERNAL_H

#include "pack.h"
#include "report.h"

/* -- pack_numbers.c: what is counted; each number has a name, the same in numbers.csv, numbers.json,
 * report.html and etc/pack/recompute.py -------------------------------------------------------------- */

#define PW_PACK_SINGLE_LIST(X)                                                                  \
	X(ROWS, rows) X(RUNS, runs) X(SWEEPS, sweeps) X(REFUSED, refused)                       \
	X(CLOCK_DOUBTED, clock_doubted) X(CORRECTED, corrected) X(CORRECTIONS, corrections)     \
	X(UNCHECKED_MS, unchecked_missed_ms) X(CHAINS, chains) X(RECORDS, records) X(SEALS, seals)
enum pw_pack_single {
#define X(up, low) PW_PACK_##up,
	PW_PACK_SINGLE_LIST(X)
#undef X
	PW_PACK_SINGLES
};
enum pw_pack_group { PW_PACK_SINGLE, PW_PACK_VERDICT, PW_PACK_RESULT, PW_PACK_WHY, PW_PACK_FINDING,
		     PW_PACK_KIND, PW_PACK_GROUPS };
#define PW_PACK_NUMBERS                                                                         \
	(PW_PACK_SINGLES + PW_MISSED + PW_RESULTS - 1 + PW_NO_RECORDS - 1 + PW_FINDINGS + PW_KINDS - 1)
struct pw_pack_numbers { int64_t n[PW_PACK_NUMBERS]; };

int64_t *pw_pack_number(struct pw_pack_numbers *of, enum pw_pack_group group, unsigned i);
unsigned pw_pack_group_count(enum pw_pack_group group);
#define PW_PACK_NAME 48
void pw_pack_number_name(enum pw_pack_group group, unsigned i, char name[PW_PACK_NAME]);
enum pw_phrase pw_pack_number_phrase(enum pw_pack_group group, unsigned i);
void pw_pack_count_row(struct pw_pack_numbers *of, const struct pw_audit_row *row);

/* -- the pack under way ------------------------------------------------------------------------------ */

#define PW_PACK_SHOWN 1000 /* rows of a table of the report; the files have all */
struct pw_pack_bus {
	char bus[PW_NAME_MAX];
	bool known;                  /* it has enrolled */
	int64_t enrolled_ms, heard_ms;
	struct pw_public_key key;
	struct pw_pack_numbers of;
};
struct pw_pack_chain { char file[96]; struct pw_branch branch; uint64_t records, seals; };
struct pw_pack_fault { char bus[PW_NAME_MAX], name[PW_NAME_MAX + 8]; int64_t count, first_ms, last_ms; };
struct pw_pack_many { void *item; size_t count, room, all; }; /* all: those that had no room, too */

struct pw_pack {
	struct pw_office *o;
	const struct pw_pack_order *order;
	const char *dir;
	int64_t from_ms, to_ms;      /* of the period; to_ms: its end, no more in it */
	char nonce[33];
	struct pw_pack_many buses;   /* struct pw_pack_bus, in the order of codes */
	struct pw_pack_many files;   /* char[128]: in the order of writing */
	struct pw_pack_many keys;    /* struct pw_key_row, of any bus */
	struct pw_pack_many bad, corrections, chains, faults, matters; /* of the report */
	struct pw_pack_many holds, purges;
	struct pw_pack_many recent;  /* struct pw_audit_key: rows that were corrected last, taken back or not */
	struct pw_pack_numbers all;
	struct pw_report *as_csv, *as_lines;
	struct pw_table *csv, *lines;
	FILE *rows_csv, *rows_lines, *beside, *corrected, *receipts, *chain_lines, *chain_names;
	char why[240];
};
/* All of it: 0, -1, -2 with p->why. */
FILE *pw_pack_open(struct pw_pack *p, const char *name); /* a file of the folder; NULL */
int pw_pack_close(struct pw_pack *p, FILE **f);
int pw_pack_desk(struct pw_pack *p,
		int (*work)(struct pw_store *s, void *ctx, char *why, size_t size), void *ctx);
int pw_pack_broke(struct pw_pack *p, const char *what); /* -1 */
/* One more, all zero; NULL: there is no memory (most 0), or there are so many already. */
void *pw_pack_add(struct pw_pack_many *many, size_t each, size_t most);
struct pw_pack_bus *pw_pack_bus_at(struct pw_pack *p, size_t i);

int pw_pack_find_buses(struct pw_pack *p);            /* pack_buses.c; 1: why is the code of one that is not known */
int pw_pack_keys(struct pw_pack *p);                  /* pack_keys.c: keys/, keys.jsonl */
/* The file in keys/ of a key of that bus; false: there is none. */
bool pw_pack_key_file(struct pw_pack *p, const char *bus, const struct pw_public_key *key,
		char file[96]);
int pw_pack_rows_begin(struct pw_pack *p);            /* pack_rows.c */
int pw_pack_rows_of(struct pw_pack *p, struct pw_pack_bus *b, struct pw_pack_many *branches);
int pw_pack_rows_end(struct pw_pack *p);
/* pack_records.c */
int pw_pack_records_of(struct pw_pack *p, struct pw_pack_bus *b,
		const struct pw_pack_many *branches);
int pw_pack_numbers_write(struct pw_pack *p);         /* pack_numbers.c */
int pw_pack_find_kept(struct pw_pack *p);             /* pack_kept.c: matters, holds, purges */
int pw_pack_report(struct pw_pack *p);                /* pack_report.c */
int pw_pack_sums(struct pw_pack *p, char hex[65]);    /* pack_sums.c; hex: SHA-256 of SHA256SUMS */

extern const char pw_pack_recompute[], pw_pack_verify[];

#endif
