/* SPDX-License-Identifier: Apache-2.0 */
/*
 * office_internal.h - what the files of postwalk-office share.
 *
 * One process owns the store. A few threads of the server take requests and check batches; the desk,
 * one thread, is the only one to touch the store, and commits what has gathered in one transaction;
 * the teller's threads send mail and webhooks. A command of the shell is handed to the running
 * process by OFFICE/office.sock, or done at once where none runs.
 */
#ifndef POSTWALK_OFFICE_INTERNAL_H
#define POSTWALK_OFFICE_INTERNAL_H

#include <pthread.h>
#include <stdio.h>

#include "postwalk/store.h"

/* -- folder.c: OFFICE/, one owner (flock), office.key, office.conf ----------------------------- */

/* Key table in conf.c; etc/office.conf has each key, its range and default. */
struct pw_office_conf {
	char listen[64];             /* HOST:PORT; plain HTTP on a loopback address only */
	char pages[64];              /* the same, of the pages for people; "": none */
	char certificate[256], private_key[256]; /* PEM; both or none: TLS 1.2 or newer */
	char store[256];             /* "" : OFFICE/office.db; or postgresql://... */
	char zone[64];               /* of the zone database, "": the machine's */
	char mail_server[128];       /* smtp://HOST:PORT or smtps://; "": no mail */
	char mail_user[64], mail_password_file[256], mail_from[128];
	char mail_to[512];           /* spaces between */
	char webhook[256];           /* https:// or http:// of a loopback address; "": none */
	char webhook_secret_file[256]; /* HMAC-SHA-256 key */
	uint32_t tell_again_s;       /* an open matter is told again after this */
	uint32_t digest_hour;        /* 0-23, of zone; 24: no digest */
	uint32_t silent_days;        /* habit: that many of the same weekdays before */
	uint32_t keep_days[PW_KEEPS]; /* 0: for good */
};
int pw_office_conf_load(const char *path, struct pw_office_conf *c, char *why, size_t size);

/* Passwords under way: accounts.h. All zero at first. */
#define PW_HASHES_AT_ONCE 2
struct pw_hashing {
	pthread_mutex_t lock;
	pthread_cond_t freed;
	unsigned under_way;
};

struct pw_matcher;

struct pw_office {
	char dir[256];
	struct pw_office_conf conf;
	struct pw_secret_key key;
	struct pw_desk *desk;
	struct pw_roll *roll;        /* roll.c */
	struct pw_silence *silence;  /* silence.c */
	struct pw_teller *teller;    /* NULL: none runs */
	struct pw_web *web;          /* likewise */
	struct pw_hashing hashing;
	int lock;
};
/* make: the folder, if it is not there. Takes the lock, reads the configuration, sets the zone,
 * loads or draws the key. 0; 1: another process has it; -1, -2. */
int pw_office_open(const char *dir, bool make, struct pw_office *o, char *why, size_t size);
void pw_office_close(struct pw_office *o);
const char *pw_office_store(const struct pw_office *o, char path[300]); /* where its store is */

/* -- batch.c: a batch checked whole; pure ------------------------------------------------------ */

/* What is said where something is refused, as docs/protocol.md has it. */
struct pw_wrong {
	unsigned status;
	const char *word;            /* of the protocol's table */
	unsigned line;               /* of the body, 1 on; 0: of no line */
	uint64_t seq;                /* the record at fault; 0: none */
	int retry_s;                 /* 0: not said */
	char words[200];
};

struct pw_batch {
	char bus[PW_NAME_MAX], epoch[17];
	struct pw_public_key key;    /* as the head line has it */
	bool begins;                 /* the bus says: nothing is before its first record */
	size_t records, seals, sweeps, standings, matters;
	struct pw_record *record;    /* bodies live as long as the batch */
	struct pw_seal *seal;
	struct pw_sweep_row *sweep;
	struct pw_standing *standing;
	struct pw_matter *matter;    /* rung, child, journal, clock: by meaning.c */
	struct pw_batch_room *room;  /* batch.c's: what the above stand in */
};
/* Ids, lengths, numbering, chain, hashes, every seal by key, the last record sealed, the end line's
 * counts. alert: one record and its seal. 0: b is whole, free it; -2: wrong says what, 400 where a
 * line is none, 403 where the head's key is another, 422 where something does not hold, 503 without
 * memory. */
int pw_batch_read(const char *text, size_t length, const char *bus, const struct pw_public_key *key,
		  bool alert, int64_t now_ms, struct pw_batch **b, struct pw_wrong *wrong);
size_t pw_batch_bytes(const struct pw_batch *b); /* held in memory, about */
void pw_batch_free(struct pw_batch *b);

/* -- meaning.c: what a record means to the office; pure ---------------------------------------- */

/* Appends to b's sweeps, standings, matters; room has been made (one of each at most a record). */
void pw_meaning(struct pw_batch *b, const struct pw_record *r, int64_t now_ms);

/* -- desk.c: the thread that owns the store ---------------------------------------------------- */

/* Opens the store, again and again where it went away (told once, with back-off). -1, -2 with why
 * at start. */
int pw_desk_start(const char *store, struct pw_desk **desk, char *why, size_t size);
void pw_desk_stop(struct pw_desk *desk); /* what waits is done first */
/* Runs work within a transaction on the desk's thread and waits: 0 committed; -1; -2 as work said
 * (rolled back). why: from work or the store. */
int pw_desk_do(struct pw_desk *desk,
	       int (*work)(struct pw_store *s, void *ctx, char *why, size_t size), void *ctx,
	       char *why, size_t size);
/* The same in a transaction that nothing else shares. */
int pw_desk_do_alone(struct pw_desk *desk,
		     int (*work)(struct pw_store *s, void *ctx, char *why, size_t size), void *ctx,
		     char *why, size_t size);
/* The same without waiting; many share a transaction, each under a mark of its own. done is called
 * on the desk's thread after the commit (result as above), or at once by this one where the store
 * is away. */
struct pw_job {
	int (*work)(struct pw_store *s, void *ctx, char *why, size_t size);
	void (*done)(void *ctx, int result, const char *why);
	void *ctx;
	bool alone;                  /* in a transaction that nothing else shares */
	struct pw_job *next;         /* the desk's */
};
void pw_desk_post(struct pw_desk *desk, struct pw_job *job);

/* -- matcher.c: keeps rows in step with what comes (include/postwalk/audit.h) -------------------- */

/* A thread of its own, which stops before the desk does. */
int pw_matcher_start(struct pw_office *o, struct pw_matcher **matcher, char *why, size_t size);
void pw_matcher_stop(struct pw_matcher *m);
/* All that is left, at once and however long it takes: where none runs. */
int pw_matcher_catch_up(struct pw_office *o, char *why, size_t size);

/* -- teller.c: who must hear of it: mail.c, webhook.c, digest.c -------------------------------- */

/* tell_internal.h has the rest: pw_hours_set (the zone; before the first thread), pw_matter_say,
 * pw_tell_test, pw_digest_write. A taking is told by itself once the teller is woken. */
int pw_teller_start(struct pw_office *o, struct pw_teller **teller, char *why, size_t size);
void pw_teller_stop(struct pw_teller *teller);
void pw_teller_wake(struct pw_teller *teller); /* a matter came: from any thread */

/* -- say.c ------------------------------------------------------------------------------------- */

int64_t pw_office_now_ms(void);
/* One line on standard error, as the watch's (docs/journal.md). */
__attribute__((format(printf, 1, 2))) void pw_office_say(const char *format, ...);

#endif
