/* SPDX-License-Identifier: Apache-2.0 */
/* delivered_internal.h - receipts as they are kept, and what the office has by them. */
#ifndef POSTWALK_DELIVERED_INTERNAL_H
#define POSTWALK_DELIVERED_INTERNAL_H

#include "record_internal.h"

/* -- receipt.c --------------------------------------------------------------------------------- */

/* As a record's body (J8): {"seq":N,...}, or {"alert":N,...}. Length, or -1. */
int pw_receipt_body(const struct pw_receipt *r, char *buf, size_t size);
/* Bus and epoch stay as they are; what is missing but the number is left empty. 0, or -1: it names none. */
int pw_receipt_body_read(const char *body, struct pw_receipt *r);
/* dir/receipt: the seven signed lines, then the signature. Whole or not at all, on the disk when it
 * returns. 0, or -1 with errno. */
int pw_receipt_file_write(const char *dir, const struct pw_receipt *r);
/* 1: whole (held against no key here); 0: not there; -1 with errno; -2: not whole. */
int pw_receipt_file_read(const char *dir, struct pw_receipt *r);
/* The office's key, dir/office.pub: without it the bus is not enrolled. 0, or -1 with why. */
int pw_office_key(const char *dir, struct pw_public_key *office, char *why, size_t size);
/* dir/receipt, where it is whole and signed by the office's key. 1; 0: there is none such. */
int pw_receipt_witness(const char *dir, struct pw_receipt *r);

/* -- delivered.c: what the office has, as the journal tells ------------------------------------- */

/* The newest receipt of all up to a record. 1: given, with bus and epoch; 0: none. */
int pw_journal_receipt(struct pw_journal *j, struct pw_receipt *r, char *why, size_t size);
/* An alert is a record that is sealed by itself and waits for no stretch: a rung with notify, a child that
 * was found. The oldest from seq on that the office has no receipt of. 1: given; 0: none. */
int pw_journal_alert(struct pw_journal *j, uint64_t from, uint64_t *seq, char *why, size_t size);
int pw_journal_is_alert(struct pw_journal *j, uint64_t seq, char *why, size_t size); /* 1, 0 */
/* All of d but state and words. */
int pw_journal_delivered(struct pw_journal *j, struct pw_delivery *d, char *why, size_t size);
/* One transaction of its own, at the time of the record before it. row: the state that is kept. */
int pw_journal_add_receipt(struct pw_journal *j, const struct pw_receipt *r, struct pw_kept_row *row,
			   const struct pw_secret_key *key, char *why, size_t size);

#endif
