/* SPDX-License-Identifier: Apache-2.0 */
/* What each request asks of the desk, and what came of it. */
#include <stdlib.h>
#include <string.h>

#include "server_internal.h"

/* -- on the desk's thread ---------------------------------------------------------------------- */

static int work_head(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct pw_request *r = ctx;
	const int64_t now_ms = pw_office_now_ms();
	int result;

	r->heads = pw_take_heads(s, r->bus, r->epoch, &result, why, size);
	if (result == 0)
		result = pw_store_bus_heard(s, r->bus, now_ms, pw_hours_day(now_ms), why, size);
	return result;
}

static int work_records(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct pw_request *r = ctx;
	int result = pw_take(s, r->batch, pw_office_now_ms(), &r->took, why, size);

	if (result == 0 && r->took.how == PW_TAKEN_GAP)
		r->heads = pw_take_heads(s, r->bus, r->batch->epoch, &result, why, size);
	return result;
}

static int work_alert(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct pw_request *r = ctx;

	return pw_take_alert(s, r->batch, pw_office_now_ms(), &r->took, why, size);
}

static int work_enrol(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct pw_request *r = ctx;

	r->enrolment.now_ms = pw_office_now_ms();
	return pw_enrol_work(s, &r->enrolment, why, size);
}

/* What was sent does not hold: that is a matter, whatever becomes of the bus. */
static int work_refused(struct pw_store *s, void *ctx, char *why, size_t size)
{
	const struct pw_request *r = ctx;
	struct pw_matter m = { .kind = PW_MATTER_REFUSED, .seq = r->wrong.seq,
			       .came_ms = pw_office_now_ms() };
	int result;

	memcpy(m.bus, r->bus, sizeof(m.bus));
	snprintf(m.epoch, sizeof(m.epoch), "%016d", (int)pw_hours_day(m.came_ms));
	pw_matter_say(&m, r->wrong.words);
	result = pw_store_matter_put(s, &m, why, size);
	return result < 0 ? result : 0;
}

static bool something_new(const struct pw_request *r)
{
	return r->wrong.status == 422 ||
	       (r->batch && (r->batch->matters > 0 || r->took.fork || r->begins));
}

/* The request goes on by one of the server's threads. */
static void done(void *ctx, int result, const char *why)
{
	struct pw_request *r = ctx;
	struct pw_server *server = r->server;
	struct pw_office *o = server->o;

	r->result = result;
	snprintf(r->why, sizeof(r->why), "%s", why);
	if (result == 0 && r->route == PW_R_ENROL)
		pw_enrol_done(o, &r->enrolment);
	if (result == 0 && something_new(r) && o->teller)
		pw_teller_wake(o->teller);
	MHD_resume_connection(r->connection);
	pthread_mutex_lock(&server->lock);
	server->posted--;
	pthread_cond_broadcast(&server->news);
	pthread_mutex_unlock(&server->lock);
}

static bool post(struct pw_request *r,
		 int (*work)(struct pw_store *s, void *ctx, char *why, size_t size))
{
	struct pw_server *server = r->server;

	pthread_mutex_lock(&server->lock);
	r->posted = !server->stopping;
	server->posted += r->posted;
	pthread_mutex_unlock(&server->lock);
	if (!r->posted) {
		pw_request_later(r, "the office is stopping");
		return false;
	}
	r->job = (struct pw_job){ .work = work, .done = done, .ctx = r };
	MHD_suspend_connection(r->connection);
	pw_desk_post(server->o->desk, &r->job);
	return true;
}

/* -- before the desk --------------------------------------------------------------------------- */

static bool act_enrol(struct pw_request *r)
{
	struct pw_server *server = r->server;
	int64_t wait_ms;

	pthread_mutex_lock(&server->lock);
	wait_ms = pw_guess_wait_ms(&server->guesses, r->address, pw_office_now_ms());
	pthread_mutex_unlock(&server->lock);
	if (wait_ms > 0) {
		pw_request_wrong(r, 429, "later", "too many wrong codes came from this address");
		r->wrong.retry_s = (int)((wait_ms + 999) / 1000);
		return false;
	}
	if (pw_enrol_read(r->body, r->length, &r->enrolment, &r->wrong) == 0)
		return post(r, work_enrol);
	return false;
}

/* r's body as text, unpacked. */
static bool unpack(struct pw_request *r, char **text, size_t *length)
{
	char why[160];
	int result = pw_unpack(r->packing, r->body, r->length, PW_BATCH_BYTES_MAX, text, length,
			       why, sizeof(why));

	if (result == 0)
		return true;
	if (result == -1)
		pw_request_later(r, why);
	else
		pw_request_wrong(r, result == -3 ? 413 : 400, result == -3 ? "large" : "bad", "%s",
				 why);
	return false;
}

/* What the body held is the batch's from here on. */
static bool check(struct pw_request *r)
{
	char *text;
	size_t length;

	if (!unpack(r, &text, &length))
		return false;
	pw_batch_read(text, length, r->bus, &r->key, r->route == PW_R_ALERT, pw_office_now_ms(),
		      &r->batch, &r->wrong);
	free(text);
	free(r->body);
	r->body = NULL;
	pw_let_go(r);
	if (!r->batch)
		return false;
	r->batch->begins = r->begins;
	if (pw_hold(r, pw_batch_bytes(r->batch)))
		return true;
	pw_request_later(r, "too many batches come in at this moment");
	return false;
}

static bool act_batch(struct pw_request *r)
{
	if (check(r))
		return post(r, r->route == PW_R_ALERT ? work_alert : work_records);
	if (r->wrong.status == 422 &&
	    pw_roll_note_refused(r->server->o->roll, r->bus, pw_office_now_ms()))
		return post(r, work_refused);
	return false;
}

/* -- after the desk ---------------------------------------------------------------------------- */

static void settle_enrol(struct pw_request *r)
{
	struct pw_server *server = r->server;

	if (r->enrolment.how != PW_ENROL_CODE)
		return;
	pthread_mutex_lock(&server->lock);
	pw_guess_wrong(&server->guesses, r->address, pw_office_now_ms());
	pthread_mutex_unlock(&server->lock);
	pw_request_wrong(r, 403, "code", "this code is not bus %s's, or was used, or is over",
			 r->enrolment.bus);
}

static void settle(struct pw_request *r)
{
	if (r->result < 0) {
		pw_request_later(r, "the office cannot keep it now");
	} else if (r->route == PW_R_ENROL) {
		settle_enrol(r);
	} else if (r->route == PW_R_RECORDS && r->took.how == PW_TAKEN_GAP) {
		pw_request_wrong(r, 409, "gap", "expected a batch that goes on from a head, or "
				 "begins at record 1");
	}
}

bool pw_request_act(struct pw_request *r)
{
	if (r->posted) {
		settle(r);
		return false;
	}
	if (r->wrong.status || r->route == PW_R_OFFICE)
		return false;
	if (r->route == PW_R_ENROL)
		return act_enrol(r);
	if (r->route == PW_R_HEAD)
		return post(r, work_head);
	return act_batch(r);
}
