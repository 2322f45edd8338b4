/* SPDX-License-Identifier: Apache-2.0 */
/*
 * web.h - the office's pages: a listener of their own, for people, beside that of the buses.
 *
 * HTTPS with the office's certificate, plain HTTP on a loopback address alone. A page is a leaf of the table
 * in web_leaves.c; the same leaf answers the page, its CSV (?as=csv&table=NAME), its JSON Lines (?as=lines)
 * and the shell (postwalk-office audit LEAF ...), so that all have the same numbers. Server-made, whole
 * without JavaScript. Requests run on a few threads of libmicrohttpd; whatever asks the store does so on the
 * desk, in short pieces of work.
 */
#ifndef POSTWALK_OFFICE_WEB_H
#define POSTWALK_OFFICE_WEB_H

#include "office_internal.h"
#include "report.h"

#define PW_ASK_FIELDS 24
#define PW_ASK_VALUE 200

/* A request, vetted: who asks, for what. */
struct pw_asked {
	struct pw_office *o;
	const struct pw_leaf *leaf;
	enum pw_tongue tongue;
	const struct pw_zone *zone;
	int64_t now_ms;
	int32_t today;
	enum pw_office_role role;
	char who[PW_AUDIT_CODE];     /* the account's code; by the shell "shell" */
	unsigned fields;             /* of the address; of the form, where it is one */
	struct { char name[24], value[PW_ASK_VALUE]; } field[PW_ASK_FIELDS];
	const char *file;            /* a FIELD_FILE that came, or NULL */
	size_t file_length;
	char file_name[128];
	bool whole;                  /* for a file: all rows, not a page of them */
	/* A form that was turned down: its page is drawn again with this. */
	enum pw_phrase wrong;        /* NONE: it was not */
	char wrong_field[24], wrong_fill[PW_ASK_VALUE];
	char then[512];              /* where to go when a form was done */
	char said[512];              /* told once on that page, as text */
};
const char *pw_asked_value(const struct pw_asked *q, const char *name); /* "" where there is none */
/* YYYY-MM-DD; 0: none, -1: it is no day */
int32_t pw_asked_day(const struct pw_asked *q, const char *name);
/* Turns a form, or an address, down. Gives back 1. */
int pw_asked_wrong(struct pw_asked *q, const char *field, enum pw_phrase phrase, const char *fill);
/* Work on the desk. 0; -1, -2: the page says that the store is away, and why stands in the log. */
int pw_asked_desk(struct pw_asked *q,
		int (*work)(struct pw_store *s, void *ctx, char *why, size_t size), void *ctx);
/* Into the office's log, with who it was: views of what is about a driver, and every act. */
int pw_asked_log(struct pw_asked *q, struct pw_store *s, char *why, size_t size, const char *format, ...)
	__attribute__((format(printf, 5, 6)));

struct pw_leaf {
	const char *path;            /* "/sweeps"; the shell says "sweeps", and "morning" for "/" */
	enum pw_phrase name;         /* in the list of pages; NONE: it is not in it */
	enum pw_office_role see, act; /* who may look, who may send its form */
	const char *asks;            /* fields of its address, spaces between */
	const char *sends;           /* fields of its form */
	/* 0; 1 wrong (asked); -1, -2 the store. Not on the desk's thread. */
	int (*get)(struct pw_asked *q, struct pw_report *r);
	int (*post)(struct pw_asked *q);
	const char *about;           /* for the shell's help: one line of English */
	/* Instead of a report, where it is not NULL: a file is written (a pack). Gives the type; name: of the file. */
	int (*file)(struct pw_asked *q, FILE *out, const char **type, char name[128]);
};
extern const struct pw_leaf pw_leaves_office[];
extern const size_t pw_leaves_office_count;

/* -- each page's file -------------------------------------------------------------------------- */

int pw_morning_get(struct pw_asked *q, struct pw_report *r);   /* page_morning.c */
int pw_morning_post(struct pw_asked *q);                       /* a matter is taken */
int pw_sweeps_get(struct pw_asked *q, struct pw_report *r);    /* page_sweeps.c: rows by a filter */
int pw_sweep_get(struct pw_asked *q, struct pw_report *r);     /* page_sweep.c: one, drawn and judged in words */
int pw_sweep_post(struct pw_asked *q);                         /* a correction */
int pw_heat_get(struct pw_asked *q, struct pw_report *r);      /* page_heat.c: how bad was it */
int pw_heat_post(struct pw_asked *q);                          /* temperatures of a CSV */
int pw_runs_get(struct pw_asked *q, struct pw_report *r);      /* page_runs.c */
int pw_runs_post(struct pw_asked *q);                          /* a run sheet */
int pw_trends_get(struct pw_asked *q, struct pw_report *r);    /* page_trends.c */
int pw_drift_get(struct pw_asked *q, struct pw_report *r);     /* page_drift.c: lines of a bus */
int pw_pack_get(struct pw_asked *q, struct pw_report *r);      /* page_pack.c */
int pw_pack_file(struct pw_asked *q, FILE *out, const char **type, char name[128]);
int pw_people_get(struct pw_asked *q, struct pw_report *r);    /* page_people.c: accounts, tokens */
int pw_people_post(struct pw_asked *q);
int pw_keeping_get(struct pw_asked *q, struct pw_report *r);   /* page_keeping.c: times, holds, purges */
int pw_keeping_post(struct pw_asked *q);
int pw_log_get(struct pw_asked *q, struct pw_report *r);       /* page_log.c */

/* -- the listener ------------------------------------------------------------------------------ */

struct pw_web;
int pw_web_start(struct pw_office *o, struct pw_web **web, char *why, size_t size);
void pw_web_stop(struct pw_web *web);
/* Certificate and key as they are now; sessions stay. After a failure nothing listens, until the next. */
int pw_web_renew(struct pw_web *web, char *why, size_t size);
uint16_t pw_web_port(const struct pw_web *web);
/* What this account's sessions may has changed: they end. Any thread. */
void pw_web_forget(struct pw_web *web, const char *code);

#endif
