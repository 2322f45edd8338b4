/* SPDX-License-Identifier: Apache-2.0 */
/* commands_internal.h - what the files of commands share: an order as it came, and lists. */
#ifndef POSTWALK_COMMANDS_INTERNAL_H
#define POSTWALK_COMMANDS_INTERNAL_H

#include "intake_internal.h"

#define PW_EXIT_OK 0
#define PW_EXIT_NOT 1 /* not done: gone, not now, nothing there */
#define PW_EXIT_BAD 2 /* not as expected */

#define PW_ORDER_ARGS 256

/* -- commands.c -------------------------------------------------------------------------------- */

/* Whatever may have to wait for out is printed off the desk's thread. */
struct pw_order {
	struct pw_office *o;
	int argc;
	const char *argv[PW_ORDER_ARGS]; /* what is no option; [0]: the command's name */
	const char *cwd;
	const char *by, *words, *source, *key, *epoch, *branch, *day, *since, *until, *role; /* NULL: not given */
	const char *zone, *from, *to, *buses;
	bool all, json, fresh, try, partly;
	FILE *out, *err;
};
/* PW_EXIT_BAD, PW_EXIT_NOT, and words. */
__attribute__((format(printf, 2, 3)))
int pw_order_bad(struct pw_order *c, const char *format, ...);
__attribute__((format(printf, 2, 3)))
int pw_order_not(struct pw_order *c, const char *format, ...);
/* Work on the desk. 0; else the exit status, and it is told why. */
int pw_order_desk(struct pw_order *c,
		  int (*work)(struct pw_store *s, void *ctx, char *why, size_t size), void *ctx);
/* A name as it is seen from cwd. */
void pw_order_path(const struct pw_order *c, const char *name, char *path, size_t size);
/* A day as YYYY-MM-DD. 0: it is none. */
int32_t pw_day_read(const char *text);

/* -- list.c: rows for a person, in columns, or for a program, one JSON object a line ----------- */

struct pw_list;
/* names: of the columns, ended by NULL; they live as long as the list. NULL: no memory. */
struct pw_list *pw_list_new(const char *const *names);
/* One row: takes the values, in the order of the columns (texts, integers, null). */
void pw_list_row(struct pw_list *l, json_t *values);
size_t pw_list_rows(const struct pw_list *l);
void pw_list_print(struct pw_list *l, bool json, FILE *out); /* and frees it */
json_t *pw_list_time(int64_t ms); /* 2025-10-14 15:42 in the office's zone; 0, PW_NO_TIME: null */
json_t *pw_list_key(const struct pw_public_key *key); /* its fingerprint */

/* -- each command ------------------------------------------------------------------------------ */

int pw_do_enrol(struct pw_order *c);   /* orders_keys.c */
int pw_do_keys(struct pw_order *c);
int pw_do_accept(struct pw_order *c);
int pw_do_refuse(struct pw_order *c);
int pw_do_buses(struct pw_order *c);   /* orders_lists.c */
int pw_do_matters(struct pw_order *c);
int pw_do_take(struct pw_order *c);
int pw_do_figures(struct pw_order *c);
int pw_do_log(struct pw_order *c);
int pw_do_tell(struct pw_order *c);
int pw_do_digest(struct pw_order *c);
int pw_do_warmth(struct pw_order *c);  /* orders_warmth.c */
int pw_do_copy(struct pw_order *c);
int pw_do_export(struct pw_order *c);  /* orders_export.c */
int pw_do_take_in(struct pw_order *c); /* orders_take_in.c */
int pw_do_pack(struct pw_order *c);    /* orders_pack.c */
int pw_do_runs(struct pw_order *c);    /* orders_runs.c */
int pw_do_account(struct pw_order *c); /* orders_audit.c */
int pw_do_audit(struct pw_order *c);
void pw_audit_help(FILE *out);         /* the pages, a line each, and their fields */

#endif
