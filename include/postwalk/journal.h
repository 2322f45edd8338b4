/* SPDX-License-Identifier: Apache-2.0 */
/*
 * journal.h - a journal and what proves it: records, seals and keys; checked, exported, read back.
 *
 * Nothing here needs the writer or a secret. A bus's own process reads its journal through the
 * writer's connection; tools and the office read copies, or exports (J10).
 * Errors, if not said otherwise: 0; -1: it cannot be had now; -2: it is damaged, or not what was
 * expected. Both with one sentence in why.
 */
#ifndef POSTWALK_JOURNAL_H
#define POSTWALK_JOURNAL_H

#include "postwalk/keys.h"
#include "postwalk/record.h"

/* A record (J2). */
struct pw_record {
	uint64_t seq, boot;
	int64_t mono_ms, wall_ms;
	bool wall_ok;
	enum pw_kind kind;
	char epoch[17], prev[65], hash[65];
	const char *body; /* lives until the next call of who gave it */
};

/* A seal (J4): an Ed25519 signature over pw_seal_text. */
struct pw_seal {
	uint64_t seq;
	char hash[65], sig[129];
};

/* J3: the hash of a record, as 64 hex digits and a zero. prev: 64 hex digits. */
void pw_record_hash(const char *bus, const struct pw_record *r, char hash[65]);

/* -- seal.c: seals (J4) ------------------------------------------------------------------------------ */

#define PW_SEAL_TEXT_MAX 256
/* What is signed. Its length. bus: of [A-Za-z0-9._-], under PW_NAME_MAX characters. */
int pw_seal_text(const char *bus, const char *epoch, const struct pw_seal *s,
		 char text[PW_SEAL_TEXT_MAX]);
/* Fills in sig. */
void pw_seal_make(const char *bus, const char *epoch, struct pw_seal *s,
		  const struct pw_secret_key *key);
bool pw_seal_holds(const char *bus, const char *epoch, const struct pw_seal *s,
		   const struct pw_public_key *key);
/* The like by an office, over postwalk-purged-v1: it let go what it had up to that record (J10). */
void pw_purged_make(const char *bus, const char *epoch, struct pw_seal *s,
		const struct pw_secret_key *key);
bool pw_purged_holds(const char *bus, const char *epoch, const struct pw_seal *s,
		const struct pw_public_key *key);

/* -- check.c: is it sound? (J10) --------------------------------------------------------------------- */

enum pw_flaw {
	PW_FLAW_EPOCH = 1, /* a record of another epoch */
	PW_FLAW_GAP,       /* seq does not follow */
	PW_FLAW_CHAIN,     /* prev or hash does not hold */
	PW_FLAW_SEAL,      /* a seal that is not by this key, or of no such record */
	PW_FLAW_PRUNED,    /* it does not begin at seq 1, and no prune record (J11) or office says why */
	PW_FLAW_UNSEALED,  /* no seal vouches for what stands from here on */
	PW_FLAW_MONO,      /* within a boot, mono time goes back; or boot does */
	PW_FLAW_WALL       /* the wall clock steps, and no clock record says so */
};
struct pw_found {
	enum pw_flaw flaw;
	uint64_t seq;    /* where */
	char words[200]; /* a sentence without seq */
};

/* A check under way. Fill in nothing by hand; read seq, hash, sealed, and so on at any time. */
struct pw_check {
	char bus[PW_NAME_MAX];
	const struct pw_public_key *key; /* NULL: seals are not checked, and all is UNSEALED */
	void (*found)(void *ctx, const struct pw_found *f);
	void *ctx;
	char epoch[17], hash[65];   /* of the last record; prev of the first until there is one */
	uint64_t first, seq;        /* of the first and of the last record; 0: none */
	uint64_t sealed;            /* the last seal that holds; 0: none */
	uint64_t records, seals, flaws;
	bool seal_broken;           /* the last seal does not hold: more of the like are not told */
	char first_prev[65];
	uint64_t pruned;            /* the prune record that explains the beginning, once sealed; 0 */
	uint64_t boot;
	int64_t mono_ms, wall_ms;   /* of the last record */
	const struct pw_seal *let_go; /* the word of an office, and whether it explains the beginning */
	const struct pw_public_key *office;
	bool purged;
};

/* Records and seals come in order, each seal right behind its record. found is called during
 * these calls. A flaw is told once where it begins: a gap or a broken link does not make every
 * record behind it a finding. At the end come PRUNED, and UNSEALED (seq 0: there is no record at
 * all). key: lives as long as the check. */
void pw_check_begin(struct pw_check *c, const char *bus, const struct pw_public_key *key,
		    void (*found)(void *ctx, const struct pw_found *f), void *ctx);
void pw_check_record(struct pw_check *c, const struct pw_record *r);
/* Before the first record; both live until then. */
void pw_check_purged(struct pw_check *c, const struct pw_seal *let_go,
		const struct pw_public_key *office);
void pw_check_seal(struct pw_check *c, const struct pw_seal *s);
void pw_check_end(struct pw_check *c);
/* Is it a touch or damage (J6 begins a new epoch), or an oddity that an auditor should see? */
bool pw_flaw_is_damage(enum pw_flaw flaw);

/* -- lines.c: JSON Lines (J10) ----------------------------------------------------------------------- */

#define PW_EXPORT_LINE_MAX (6 * PW_BODY_MAX + 1024) /* with its LF and closing zero */
enum pw_export_kind { PW_X_HEAD = 1, PW_X_RECORD, PW_X_SEAL, PW_X_END, PW_X_PURGED };
struct pw_export_line {
	enum pw_export_kind kind;
	char bus[PW_NAME_MAX];       /* HEAD */
	struct pw_public_key key;    /* of PURGED: the office's */
	struct pw_record record;     /* RECORD; its body lives until pw_export_free */
	struct pw_seal seal;         /* SEAL, PURGED */
	uint64_t records, seals;     /* END: how many stand before it */
	void *held;
};

/* A line without its LF. Lengths; -1: it does not fit. */
int pw_export_head(const char *bus, const struct pw_public_key *key, char *buf, size_t size);
int pw_export_record(const struct pw_record *r, char *buf, size_t size);
int pw_export_seal(const struct pw_seal *s, char *buf, size_t size);
int pw_export_purged(const struct pw_seal *s, const struct pw_public_key *office, char *buf,
		size_t size);
int pw_export_end(uint64_t records, uint64_t seals, char *buf, size_t size);
/* 0; -2 with "expected ..." in why: not JSON, a key twice, unknown, missing or out of range, a body
 * longer than PW_BODY_MAX. Free it after a 0. */
int pw_export_read(const char *text, size_t length, struct pw_export_line *line, char *why,
		size_t size);
void pw_export_free(struct pw_export_line *line);

/* -- journal.c, read.c: the file --------------------------------------------------------------------- */

struct pw_journal;
/* Opens a journal that is at rest, or a copy (write: the writer alone does, making it if absent; bus is
 * then required, else NULL takes any). */
int pw_journal_open(const char *path, const char *bus, bool write, struct pw_journal **j, char *why,
		    size_t size);
void pw_journal_close(struct pw_journal *j);
/* The first record of that seq or a later one. 1: given; 0: the end. Nothing is checked here. */
int pw_journal_read(struct pw_journal *j, uint64_t from, struct pw_record *r, char *why,
		size_t size);
/* The same for seals. */
int pw_journal_read_seal(struct pw_journal *j, uint64_t from, struct pw_seal *s, char *why,
			 size_t size);
const char *pw_journal_bus(const struct pw_journal *j);
/* SQLite's own judgement of its file: 0; -2 with its first words. Reads the whole file; integrity_check,
 * since quick_check takes as long and does not see an index that points to another record. */
int pw_journal_quick_check(struct pw_journal *j, char *why, size_t size);
/* judge.c, J6: the tail of the chain, the kept state against it, and the seal files in dir (NULL: do
 * not look) against both. key NULL: signatures are not looked at. 0 (why: empty, or a remark);
 * -2: touched, damaged, or older than a witness says. */
int pw_journal_judge(struct pw_journal *j, const char *dir, const struct pw_public_key *key, char *why,
		     size_t size);

#endif
