/* SPDX-License-Identifier: Apache-2.0 */
/* The writer serves the uplink (stretch.h): what it answers, to whom, and that the watch comes first. */
#include "record_uplink.h"

/* A record of nearly so many bytes, sealed or not. */
static void big(struct watch *x, size_t bytes, bool sealed)
{
	struct pw_note n[2] = { plain(PW_K_POLICY), plain(PW_K_SWEEP) };

	n[0].of.policy.length = (uint32_t)(bytes < PW_POLICY_TEXT_MAX ? bytes : PW_POLICY_TEXT_MAX);
	memset(n[0].of.policy.text, 'x', n[0].of.policy.length);
	notes(x, n, sealed ? 2 : 1);
}

/* Records of that kind and size until the text of that much has been noted; the last one sealed. */
static void much(struct watch *x, size_t bytes)
{
	for (size_t done = 0; done < bytes; done += PW_POLICY_TEXT_MAX)
		big(x, PW_POLICY_TEXT_MAX, done + PW_POLICY_TEXT_MAX >= bytes);
}

static struct watch started(const struct folder *f)
{
	struct watch x = start_at(f, &quick);

	kept_of(&x);
	return x;
}

/* -- where it stands --------------------------------------------------------------------------- */

static void what_is_sealed_and_no_more(void **state)
{
	struct folder *f = *state;
	struct watch x = started(f);
	struct uplink u;
	char text[512];

	batch(&x, PW_K_RUNG, 3, PW_DRIVING);
	u = uplink_open(f);
	uplink_where(&u);
	assert_string_equal(u.in.bus, BUS);
	column_of(f, "epoch", 1, text);
	assert_string_equal(u.in.epoch, text);
	assert_int_equal(u.in.first, 1);
	assert_int_equal(u.in.seq, 0);
	assert_string_equal(u.in.hash, "");
	uplink_from(&u, PW_H_STRETCH, 1);
	assert_null(u.text);
	batch(&x, PW_K_SWEEP, 1, PW_PARKED);
	batch(&x, PW_K_RUNG, 1, PW_DRIVING);
	uplink_where(&u);
	assert_int_equal(u.in.seq, 4);
	column_of(f, "hash", 4, text);
	assert_string_equal(u.in.hash, text);
	assert_int_equal(u.in.receipted, 0);
	assert_int_equal(u.in.alerts, 0);
	uplink_close(&u);
	stop(&x);
}

static void the_hash_of_a_record(void **state)
{
	struct folder *f = *state;
	struct watch x = started(f);
	struct pw_hand h = hand(PW_H_HASH);
	struct uplink u;
	char text[512];

	batch(&x, PW_K_RUNG, 3, PW_DRIVING);
	batch(&x, PW_K_SWEEP, 1, PW_PARKED);
	batch(&x, PW_K_RUNG, 1, PW_DRIVING); /* 5: not sealed */
	u = uplink_open(f);
	for (h.seq = 0; h.seq <= 6; h.seq++) {
		uplink_ask(&u, &h);
		column_of(f, "hash", h.seq, text);
		assert_string_equal(u.in.hash, h.seq < 5 ? text : "");
		assert_int_equal(u.in.seq, h.seq);
	}
	h.seq = UINT64_MAX;
	uplink_ask(&u, &h);
	assert_string_equal(u.in.hash, "");
	uplink_close(&u);
	stop(&x);
}

static void the_socket_is_for_the_group_and_gone_afterwards(void **state)
{
	struct folder *f = *state;
	struct watch x = started(f);
	struct uplink u;
	struct stat st;

	batch(&x, PW_K_RUNG, 1, PW_PARKED);
	u = uplink_open(f);
	assert_int_equal(stat(in(f, PW_UPLINK_SOCKET), &st), 0);
	assert_true(S_ISSOCK(st.st_mode));
	assert_int_equal(st.st_mode & 0777, 0660);
	stop(&x);
	assert_hung_up(&u);
	assert_false(exists(f, PW_UPLINK_SOCKET));
	uplink_close(&u);
}

/* -- stretches --------------------------------------------------------------------------------- */

/* Every line of an export from the head on; the records come by seq, the last one is sealed. */
static void assert_export(const struct uplink *u, uint64_t first)
{
	struct pw_export_line line;
	char why[256] = "", *end;
	uint64_t records = 0, seals = 0, seq = first - 1;
	bool head = false, over = false, sealed = false;

	for (const char *at = u->text; at < u->text + u->length; at = end + 1) {
		end = strchr(at, '\n');
		assert_non_null(end);
		assert_false(over);
		if (pw_export_read(at, (size_t)(end - at), &line, why, sizeof(why)) != 0)
			fail_msg("%s", why);
		if (line.kind == PW_X_HEAD) {
			assert_true(at == u->text);
			assert_string_equal(line.bus, BUS);
			head = true;
		} else if (line.kind == PW_X_RECORD) {
			assert_int_equal(line.record.seq, ++seq);
			records++;
			sealed = false;
		} else if (line.kind == PW_X_SEAL) {
			assert_int_equal(line.seal.seq, seq);
			seals++;
			sealed = true;
		} else {
			assert_int_equal(line.records, records);
			assert_int_equal(line.seals, seals);
			over = true;
		}
		pw_export_free(&line);
	}
	assert_true(head && over && sealed);
	assert_int_equal(u->in.first, first);
	assert_int_equal(u->in.seq, seq);
}

/* From the first record on, one after the other, without heads and ends. Their count. */
static int all_stretches(struct uplink *u, const char *path)
{
	FILE *file = fopen(path, "w");
	char *from, *to;
	uint64_t next = 1;
	int count = 0;

	assert_non_null(file);
	for (;;) {
		uplink_from(u, PW_H_STRETCH, next);
		if (u->text == NULL)
			break;
		assert_export(u, next);
		assert_true(u->length <= PW_STRETCH_MOST);
		from = strchr(u->text, '\n') + 1;
		to = strstr(from, "{\"end\":");
		fwrite(from, 1, (size_t)(to - from), file);
		next = u->in.seq + 1;
		count++;
	}
	assert_string_equal(u->in.words, "");
	fclose(file);
	return count;
}

/* What `postwalk export` has of the journal afterwards. */
static void all_of_them_are_the_export(void **state)
{
	const char *tool = getenv("POSTWALK") != NULL ? getenv("POSTWALK") : "build/postwalk";
	struct folder *f = *state;
	struct watch x = started(f);
	struct uplink u;
	uint64_t last;

	for (int i = 0; i < 60; i++)
		batch(&x, i % 7 == 0 ? PW_K_SWEEP : PW_K_RUNG, 20, PW_DRIVING);
	batch(&x, PW_K_SWEEP, 1, PW_PARKED);
	u = uplink_open(f);
	assert_true(all_stretches(&u, in(f, "stretches")) > 3);
	uplink_where(&u);
	last = u.in.seq;
	uplink_close(&u);
	stop(&x);
	assert_int_equal(run("cd '%s' && '%s' export journal.db > export && tail -n +2 export |"
			     " grep -v '^{\"end\"' | cmp - stretches", f->path, tool), 0);
	assert_int_equal(count_of(f, "SELECT max(seq) FROM record"), last);
}

static void how_long_they_are(void **state)
{
	struct folder *f = *state;
	struct watch x = started(f);
	struct uplink u;
	uint64_t next;

	for (int i = 0; i < 30; i++)
		big(&x, PW_POLICY_TEXT_MAX, true);
	u = uplink_open(f);
	uplink_from(&u, PW_H_STRETCH, 1);
	assert_in_range(u.length, PW_STRETCH_LEAST, PW_STRETCH_LEAST + 8192);
	next = u.in.seq + 1;
	uplink_from(&u, PW_H_STRETCH, next);
	assert_in_range(u.length, PW_STRETCH_LEAST, PW_STRETCH_LEAST + 8192);
	uplink_from(&u, PW_H_STRETCH, 59); /* the last one of all may be shorter */
	assert_export(&u, 59);
	assert_true(u.length < PW_STRETCH_LEAST);
	uplink_from(&u, PW_H_STRETCH, 58); /* not behind a seal */
	assert_export(&u, 58);
	uplink_close(&u);
	stop(&x);
}

/* What would pass 256 KiB with the next seal ends at the one before, if that is only a little. */
static void one_that_would_be_too_long(void **state)
{
	struct folder *f = *state;
	struct watch x = started(f);
	struct uplink u;

	big(&x, PW_POLICY_TEXT_MAX, true); /* seq 1, 2 */
	much(&x, PW_STRETCH_MOST - 4096);  /* alone it fits just not */
	u = uplink_open(f);
	uplink_from(&u, PW_H_STRETCH, 1);
	assert_export(&u, 1);
	assert_int_equal(u.in.seq, 2);
	uplink_from(&u, PW_H_STRETCH, 3);
	assert_export(&u, 3);
	uplink_where(&u);
	uplink_close(&u);
	stop(&x);
}

/* One that is longer by itself is given whole. */
static void one_that_is_longer_by_itself(void **state)
{
	struct folder *f = *state;
	struct watch x = started(f);
	struct uplink u;
	uint64_t last;

	much(&x, 2 * PW_STRETCH_MOST);
	u = uplink_open(f);
	uplink_where(&u);
	last = u.in.seq;
	uplink_from(&u, PW_H_STRETCH, 1);
	assert_export(&u, 1);
	assert_int_equal(u.in.seq, last);
	assert_true(u.length > PW_STRETCH_MOST);
	uplink_close(&u);
	stop(&x);
}

static void nothing_to_be_had(void **state)
{
	static const uint64_t from[] = { 0, 5, 6, 1000, INT64_MAX, UINT64_MAX };
	struct folder *f = *state;
	struct watch x = started(f);
	struct uplink u;

	batch(&x, PW_K_RUNG, 3, PW_DRIVING);
	batch(&x, PW_K_SWEEP, 1, PW_PARKED);
	batch(&x, PW_K_RUNG, 2, PW_DRIVING);
	u = uplink_open(f);
	for (size_t i = 0; i < sizeof(from) / sizeof(from[0]); i++) {
		uplink_from(&u, PW_H_STRETCH, from[i]);
		assert_null(u.text);
		assert_int_equal(u.in.first, from[i]);
		assert_int_equal(u.in.seq, 0);
		assert_string_equal(u.in.words, "");
	}
	uplink_close(&u);
	stop(&x);
}

/* Of all but the last sealed stretch, as of some days later. */
static void drop_the_beginning(const struct folder *f)
{
	struct pw_secret_key key;
	struct pw_kept_row row;
	struct pw_journal *j;
	char why[256] = "";
	bool drawn;

	if (pw_secret_key_load(f->path, "bus", &key, &drawn, why, sizeof(why)) != 0
	    || pw_journal_open(in(f, "journal.db"), BUS, true, &j, why, sizeof(why)) != 0
	    || pw_journal_kept(j, &row, why, sizeof(why)) != 1
	    || pw_journal_prune(j, &row, INT64_C(1791000000000), 1, &key, why, sizeof(why)) != 1)
		fail_msg("%s", why);
	pw_journal_close(j);
}

/* J11 */
static void a_beginning_that_was_dropped(void **state)
{
	struct folder *f = *state;
	struct watch x = started(f);
	struct uplink u;

	for (int i = 0; i < 5; i++)
		batch(&x, PW_K_SWEEP, 2, PW_PARKED);
	stop(&x);
	drop_the_beginning(f);
	x = start_at(f, &quick);
	x.now_ms = 101000;
	kept_of(&x);
	batch(&x, PW_K_RUNG, 1, PW_PARKED);
	u = uplink_open(f);
	uplink_where(&u);
	assert_int_equal(u.in.first, 9);
	uplink_from(&u, PW_H_STRETCH, 1);
	assert_null(u.text);
	assert_int_equal(u.in.first, 9);
	assert_string_equal(u.in.words, "seq 1 is not there any more");
	uplink_from(&u, PW_H_STRETCH, 9);
	assert_export(&u, 9);
	uplink_close(&u);
	stop(&x);
}

/* -- clients ----------------------------------------------------------------------------------- */

static void a_newer_client_takes_the_place(void **state)
{
	struct folder *f = *state;
	struct watch x = started(f);
	struct uplink u, v;

	batch(&x, PW_K_SWEEP, 1, PW_PARKED);
	u = uplink_open(f);
	uplink_where(&u);
	v = uplink_open(f);
	uplink_where(&v);
	assert_hung_up(&u);
	uplink_from(&v, PW_H_STRETCH, 1);
	assert_export(&v, 1);
	uplink_close(&u);
	uplink_close(&v);
	stop(&x);
}

/* A message that is not as it should be, by what is wrong with it. */
static const struct {
	int line;
	size_t at, size;    /* bytes of the message that are set, */
	int to;             /* to this */
	size_t length;      /* of it, when not the right one */
	enum pw_hand_kind kind;
} rubbish[] = {
#define HAND(member) offsetof(struct pw_hand, member), sizeof(((struct pw_hand *)0)->member)
	{ __LINE__, HAND(version), 0, 0, PW_H_WHERE }, { __LINE__, HAND(version), 2, 0, PW_H_WHERE },
	{ __LINE__, HAND(size), 0, 0, PW_H_WHERE }, { __LINE__, HAND(size), 0xff, 0, PW_H_WHERE },
	{ __LINE__, HAND(kind), 0, 0, PW_H_WHERE }, { __LINE__, HAND(kind), 0xff, 0, PW_H_WHERE },
	{ __LINE__, 0, 0, 0, 0, PW_H_NEWS }, { __LINE__, 0, 0, 0, 0, PW_H_NEWS + 1 },
	{ __LINE__, 0, 0, 0, 1, PW_H_WHERE }, { __LINE__, 0, 0, 0, 8, PW_H_STRETCH },
	{ __LINE__, 0, 0, 0, sizeof(struct pw_hand) - 1, PW_H_HASH },
	{ __LINE__, 0, 0, 0, sizeof(struct pw_hand) + 1, PW_H_ALERT },
	{ __LINE__, 0, 0, 0, 2 * sizeof(struct pw_hand), PW_H_SAYS },
	{ __LINE__, HAND(bus), 'x', 0, PW_H_WHERE }, { __LINE__, HAND(epoch), 'x', 0, PW_H_HASH },
	{ __LINE__, HAND(hash), 'x', 0, PW_H_STRETCH }, { __LINE__, HAND(words), 'x', 0, PW_H_SAYS },
	{ __LINE__, HAND(receipt.alert), 2, 0, PW_H_RECEIPT },
	{ __LINE__, HAND(receipt.bus), 'x', 0, PW_H_RECEIPT },
	{ __LINE__, HAND(receipt.epoch), 'x', 0, PW_H_RECEIPT },
	{ __LINE__, HAND(receipt.hash), 'x', 0, PW_H_RECEIPT },
	{ __LINE__, HAND(receipt.nonce), 'x', 0, PW_H_RECEIPT },
	{ __LINE__, HAND(receipt.sig), 'x', 0, PW_H_RECEIPT },
	{ __LINE__, HAND(state), PW_D_REFUSED + 1, 0, PW_H_SAYS },
	{ __LINE__, offsetof(struct pw_hand, words), 1, '\n', 0, PW_H_SAYS },
	{ __LINE__, offsetof(struct pw_hand, words), 1, 0xff, 0, PW_H_SAYS },
#undef HAND
};

static void who_sends_rubbish_is_hung_up_on(void **state)
{
	struct folder *f = *state;
	struct watch x = started(f);
	struct uplink u;

	batch(&x, PW_K_SWEEP, 1, PW_PARKED);
	for (size_t i = 0; i < sizeof(rubbish) / sizeof(rubbish[0]); i++) {
		union {
			struct pw_hand hand;
			unsigned char bytes[3 * sizeof(struct pw_hand)];
		} m;
		const size_t length = rubbish[i].length > 0 ? rubbish[i].length : sizeof(m.hand);

		memset(&m, 0, sizeof(m));
		m.hand = hand(rubbish[i].kind);
		memset(m.bytes + rubbish[i].at, rubbish[i].to, rubbish[i].size);
		u = uplink_open(f);
		assert_int_equal(send(u.fd, m.bytes, length, MSG_NOSIGNAL), (ssize_t)length);
		if (uplink_receive(&u, PATIENCE_MS))
			fail_msg("line %d: an answer of kind %d", rubbish[i].line, u.in.kind);
		assert_hung_up(&u);
		uplink_close(&u);
		batch(&x, PW_K_RUNG, 1, PW_PARKED);
	}
	u = uplink_open(f);
	uplink_where(&u);
	assert_int_equal(u.in.seq, 1);
	uplink_close(&u);
	stop(&x);
}

/* A descriptor that comes along is not kept. */
static void what_comes_along_is_let_go(void **state)
{
	struct folder *f = *state;
	struct watch x = started(f);
	union {
		struct cmsghdr head;
		char room[CMSG_SPACE(sizeof(int))];
	} along = { .head = { .cmsg_len = CMSG_LEN(sizeof(int)), .cmsg_level = SOL_SOCKET,
			      .cmsg_type = SCM_RIGHTS } };
	struct pw_hand h = hand(PW_H_WHERE);
	struct iovec part = { .iov_base = &h, .iov_len = sizeof(h) };
	struct msghdr m = { .msg_iov = &part, .msg_iovlen = 1, .msg_control = &along,
			    .msg_controllen = sizeof(along) };
	struct pollfd one;
	struct uplink u;
	int ends[2];

	batch(&x, PW_K_SWEEP, 1, PW_PARKED);
	u = uplink_open(f);
	assert_int_equal(pipe2(ends, O_CLOEXEC), 0);
	memcpy(CMSG_DATA(&along.head), &ends[1], sizeof(int));
	assert_int_equal(sendmsg(u.fd, &m, 0), sizeof(h));
	uplink_await(&u, PW_H_WHERE);
	close(ends[1]);
	one = (struct pollfd){ .fd = ends[0], .events = POLLIN };
	assert_int_equal(poll(&one, 1, PATIENCE_MS), 1); /* nobody else has it */
	assert_true(one.revents & POLLHUP);
	close(ends[0]);
	uplink_close(&u);
	stop(&x);
}

/* What its socket does not take is dropped; batches go on; and it is answered as soon as it reads. */
static void a_client_that_never_reads(void **state)
{
	struct folder *f = *state;
	struct watch x = started(f);
	struct pw_hand h = hand(PW_H_STRETCH);
	struct uplink u;
	int answers = 0, sent = 0;

	for (int i = 0; i < 20; i++)
		big(&x, PW_POLICY_TEXT_MAX, true);
	u = uplink_open(f);
	h.first = 1;
	for (int i = 0; i < 600; i++) {
		sent += send(u.fd, &h, sizeof(h), MSG_DONTWAIT | MSG_NOSIGNAL) > 0;
		if (i % 60 == 0)
			batch(&x, PW_K_SWEEP, 1, PW_PARKED);
	}
	assert_true(sent > 50);
	h = hand(PW_H_SAYS); /* behind them all, so that they are gone through */
	h.state = PW_D_AWAY;
	assert_int_equal(send(u.fd, &h, sizeof(h), MSG_NOSIGNAL), sizeof(h));
	until_delivery(&x, d->state == PW_D_AWAY);
	for (; uplink_receive(&u, 0); answers++)
		;
	assert_in_range(answers, 1, 32);
	uplink_from(&u, PW_H_STRETCH, 1);
	assert_export(&u, 1);
	uplink_close(&u);
	stop(&x);
}

static void a_client_that_goes_away_within(void **state)
{
	struct folder *f = *state;
	struct watch x = started(f);
	struct pw_hand h = hand(PW_H_STRETCH);
	struct uplink u;

	much(&x, PW_STRETCH_MOST);
	h.first = 1;
	for (int i = 0; i < 50; i++) {
		u = uplink_open(f);
		uplink_send(&u, &h);
		uplink_close(&u);
	}
	batch(&x, PW_K_SWEEP, 1, PW_PARKED);
	u = uplink_open(f);
	uplink_from(&u, PW_H_STRETCH, 1);
	assert_export(&u, 1);
	uplink_close(&u);
	stop(&x);
}

/* -- news and says ----------------------------------------------------------------------------- */

static void news_comes_when_something_was_sealed(void **state)
{
	struct folder *f = *state;
	struct watch x = started(f);
	struct pw_note alert = rung_note(true);
	struct uplink u;
	char text[512];

	batch(&x, PW_K_SWEEP, 1, PW_PARKED);
	u = uplink_open(f);
	uplink_where(&u);
	batch(&x, PW_K_RUNG, 5, PW_PARKED);
	assert_false(uplink_receive(&u, 0)); /* nothing was */
	batch(&x, PW_K_SWEEP, 1, PW_PARKED);
	assert_true(uplink_receive(&u, PATIENCE_MS));
	assert_int_equal(u.in.kind, PW_H_NEWS);
	assert_int_equal(u.in.seq, 7);
	column_of(f, "hash", 7, text);
	assert_string_equal(u.in.hash, text);
	assert_int_equal(u.in.alerts, 0);
	notes(&x, &alert, 1);
	assert_true(uplink_receive(&u, PATIENCE_MS));
	assert_int_equal(u.in.kind, PW_H_NEWS);
	assert_int_equal(u.in.seq, 8);
	assert_int_equal(u.in.alerts, 1);
	uplink_close(&u);
	stop(&x);
}

static void what_it_says_reaches_the_watch(void **state)
{
	struct folder *f = *state;
	struct watch x = started(f);
	struct pw_hand h = hand(PW_H_SAYS);
	struct uplink u;

	batch(&x, PW_K_SWEEP, 1, PW_PARKED);
	assert_int_equal(pw_writer_delivery(x.w)->state, PW_D_NONE);
	assert_true(pw_writer_delivery(x.w)->alert_ms == PW_NO_TIME);
	u = uplink_open(f);
	h.state = PW_D_REFUSED;
	strcpy(h.words, "the office says: \xc3\xa9 no such bus");
	uplink_send(&u, &h);
	until_delivery(&x, d->state == PW_D_REFUSED);
	assert_string_equal(pw_writer_delivery(x.w)->words, h.words);
	assert_null(pw_writer_fault(x.w)); /* delivery is no fault of the journal's */
	h = hand(PW_H_SAYS);
	for (int i = 0; i < 2000; i++) { /* it is told a few times, and how it stands at last */
		h.state = i % 2 == 0 ? PW_D_SENDING : PW_D_AWAY;
		uplink_send(&u, &h);
	}
	h.state = PW_D_DONE;
	uplink_send(&u, &h);
	until_delivery(&x, d->state == PW_D_DONE);
	assert_string_equal(pw_writer_delivery(x.w)->words, "");
	uplink_close(&u);
	until_delivery(&x, d->state == PW_D_NONE);
	stop(&x);
}

/* -- when there is no journal ------------------------------------------------------------------ */

static void it_is_served_only_with_a_journal(void **state)
{
	struct folder *f = *state;
	struct watch x;
	struct uplink u;

	assert_int_equal(mkdir(in(f, "journal.db"), 0700), 0); /* nothing that could be opened */
	x = start_at(f, &quick);
	until_fault(&x, "journal.db");
	assert_int_equal(uplink_try(f), -1);
	assert_int_equal(rmdir(in(f, "journal.db")), 0);
	batch(&x, PW_K_SWEEP, 1, PW_PARKED);
	u = uplink_open(f);
	uplink_where(&u);
	disk_tell(1, false, EIO); /* the next batch fails, and the journal is opened anew */
	batch(&x, PW_K_SWEEP, 1, PW_PARKED);
	disk_tell(0, false, 0);
	assert_hung_up(&u);
	uplink_close(&u);
	u = uplink_open(f);
	uplink_where(&u);
	assert_int_equal(u.in.seq, 2);
	uplink_close(&u);
	stop(&x);
}

static void a_writer_that_takes_over_serves_as_well(void **state)
{
	struct folder *f = *state;
	struct watch x = started(f);
	struct uplink u;

	batch(&x, PW_K_SWEEP, 1, PW_PARKED);
	u = uplink_open(f);
	uplink_where(&u);
	kill(pw_writer_pid(x.w), SIGKILL);
	assert_hung_up(&u);
	uplink_close(&u);
	batch(&x, PW_K_SWEEP, 1, PW_PARKED);
	u = uplink_open(f);
	uplink_where(&u);
	assert_int_equal(u.in.seq, 2);
	uplink_close(&u);
	stop(&x);
}

/* Where there is an office, a socket that cannot be had is for a person to look at. */
static void a_socket_that_cannot_be_had(void **state)
{
	struct folder *f = *state;
	struct watch x;
	struct uplink u;

	for (int enrolled = 0; enrolled < 2; enrolled++) {
		if (enrolled)
			enrol(f);
		assert_int_equal(run("mkdir -p '%s/x'", in(f, PW_UPLINK_SOCKET)), 0);
		x = start_at(f, &quick);
		x.now_ms += enrolled * 100000;
		kept_of(&x);
		batch(&x, PW_K_SWEEP, 1, PW_PARKED);
		if (enrolled) {
			until_delivery(&x, d->state == PW_D_REFUSED);
			assert_non_null(strstr(pw_writer_delivery(x.w)->words, "/uplink.sock: "));
		}
		assert_null(pw_writer_fault(x.w));
		assert_int_equal(run("rm -r '%s'", in(f, PW_UPLINK_SOCKET)), 0);
		u = uplink_open(f);
		uplink_where(&u);
		if (enrolled)
			until_delivery(&x, d->state == PW_D_NONE);
		uplink_close(&u);
		stop(&x);
	}
}

int main(void)
{
#define IN_FOLDER(test) cmocka_unit_test_setup_teardown(test, with_folder, without_folder)
	const struct CMUnitTest tests[] = {
		IN_FOLDER(what_is_sealed_and_no_more),
		IN_FOLDER(the_hash_of_a_record),
		IN_FOLDER(the_socket_is_for_the_group_and_gone_afterwards),
		IN_FOLDER(all_of_them_are_the_export),
		IN_FOLDER(how_long_they_are),
		IN_FOLDER(one_that_would_be_too_long),
		IN_FOLDER(one_that_is_longer_by_itself),
		IN_FOLDER(nothing_to_be_had),
		IN_FOLDER(a_beginning_that_was_dropped),
		IN_FOLDER(a_newer_client_takes_the_place),
		IN_FOLDER(who_sends_rubbish_is_hung_up_on),
		IN_FOLDER(what_comes_along_is_let_go),
		IN_FOLDER(a_client_that_never_reads),
		IN_FOLDER(a_client_that_goes_away_within),
		IN_FOLDER(news_comes_when_something_was_sealed),
		IN_FOLDER(what_it_says_reaches_the_watch),
		IN_FOLDER(it_is_served_only_with_a_journal),
		IN_FOLDER(a_writer_that_takes_over_serves_as_well),
		IN_FOLDER(a_socket_that_cannot_be_had),
	};

	disk_make();
	return cmocka_run_group_tests(tests, NULL, NULL);
}
