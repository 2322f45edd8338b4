/* SPDX-License-Identifier: Apache-2.0 */
/* The listener for people: its life, and the way of a request through it. */
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "web_internal.h"

#define THREADS 2
#define FILE_MS 3600000 /* a long file over a slow line; one that stands still ends before */

/* -- requests ---------------------------------------------------------------------------------- */

static enum MHD_Result give_still(struct MHD_Connection *c, const struct pw_still *still)
{
	struct MHD_Response *answer = MHD_create_response_from_buffer(
		strlen(still->text), (void *)(uintptr_t)still->text, MHD_RESPMEM_PERSISTENT);
	enum MHD_Result sent;

	if (!answer)
		return MHD_NO;
	MHD_add_response_header(answer, "Content-Type", still->type);
	MHD_add_response_header(answer, "X-Content-Type-Options", "nosniff");
	MHD_add_response_header(answer, "Cache-Control", "no-cache");
	sent = MHD_queue_response(c, 200, answer);
	MHD_destroy_response(answer);
	return sent;
}

static const struct pw_still *still_at(const char *url, const char *method)
{
	const struct pw_still *s = pw_stills;

	while (s->path && strcmp(s->path, url) != 0)
		s++;
	return s->path && (strcmp(method, "GET") == 0 || strcmp(method, "HEAD") == 0) ? s : NULL;
}

static enum MHD_Result refuse(struct pw_turn *t)
{
	pw_turn_draw_refusal(t);
	return pw_turn_answer(t);
}

/* A short body is read before it is refused: who still sends may not hear the answer. */
static bool body_is_short(const struct pw_turn *t)
{
	const char *length = MHD_lookup_connection_value(t->connection, MHD_HEADER_KIND,
							 "Content-Length");

	return t->post && length && strlen(length) < 7 && t->status != 411;
}

static enum MHD_Result begin(struct pw_web *w, struct MHD_Connection *c, const char *url,
			     const char *method, void **of_request)
{
	const struct pw_still *still = still_at(url, method);
	struct pw_turn *t;

	if (still)
		return give_still(c, still);
	t = calloc(1, sizeof(*t));
	if (!t)
		return MHD_NO;
	*of_request = t; /* turn_ends frees it */
	t->web = w;
	t->connection = c;
	if (!pw_turn_begin(t, url, method) && !body_is_short(t))
		return refuse(t);
	pw_listener_deadline(&w->listener, c, w->listener.request_ms);
	return MHD_YES;
}

static enum MHD_Result act(struct pw_turn *t)
{
	struct pw_listener *l = &t->web->listener;

	pw_turn_whole(t);
	if (t->status)
		return refuse(t);
	t->queued = true;
	pw_listener_deadline(l, t->connection, INT64_MAX);
	MHD_suspend_connection(t->connection);
	if (pw_lane_put(t->web->lanes, pw_turn_lane(t), t))
		return MHD_YES;
	pw_turn_refuse(t, 503, PW_P_WEB_BUSY);
	pw_turn_draw_refusal(t);
	MHD_resume_connection(t->connection);
	return MHD_YES;
}

/* Called with the headers, with each piece of a body, when the request is whole, and when its lane
 * is done with it. */
static enum MHD_Result answer(void *cls, struct MHD_Connection *c, const char *url,
			      const char *method, const char *version, const char *upload,
			      size_t *upload_size, void **of_request)
{
	struct pw_turn *t = *of_request;
	struct pw_web *w = cls;

	(void)version;
	if (!t)
		return begin(w, c, url, method, of_request);
	if (*upload_size) {
		const bool goes_on = pw_turn_piece(t, upload, *upload_size);

		*upload_size = 0;
		return goes_on ? MHD_YES : MHD_NO;
	}
	if (!t->queued)
		return act(t);
	pw_listener_deadline(&w->listener, c, t->fd < 0 ? w->listener.request_ms : FILE_MS);
	return pw_turn_answer(t);
}

static void turn_ends(void *cls, struct MHD_Connection *c, void **of_request,
		      enum MHD_RequestTerminationCode code)
{
	struct pw_web *w = cls;

	(void)code;
	if (*of_request)
		pw_turn_free(*of_request);
	*of_request = NULL;
	pw_listener_deadline(&w->listener, c, w->listener.headers_ms);
}

/* -- its life ---------------------------------------------------------------------------------- */

static void end_lanes(struct pw_web *w)
{
	pw_lanes_stop(w->lanes);
	pw_lanes_free(w->lanes);
	w->lanes = NULL;
}

/* What a failed one has taken is given back. */
static int begin_listening(struct pw_web *w, char *why, size_t size)
{
	const struct pw_office_conf *conf = &w->o->conf;
	const struct pw_serving as = { .answer = answer, .ends = turn_ends, .cls = w,
				       .threads = THREADS, .connections = PW_WEB_CONNECTIONS,
				       .an_address = PW_WEB_AN_ADDRESS, .decodes = true };
	int result;

	w->listener = (struct pw_listener){ .headers_ms = PW_WEB_HEADERS_MS,
					    .request_ms = PW_WEB_REQUEST_MS };
	result = pw_listener_open(&w->listener, "pages", conf->pages, conf, why, size);
	if (result == 0 && pw_lanes_start(pw_turn_act, &w->lanes)) {
		snprintf(why, size, "there is no memory for the pages");
		result = -1;
	}
	if (result == 0)
		result = pw_listener_serve(&w->listener, &as, conf, why, size);
	w->listens = result == 0;
	if (w->listens)
		return 0;
	if (w->lanes)
		end_lanes(w);
	pw_listener_close(&w->listener);
	return result;
}

/* What is under way is done before the library is asked to end. */
static void end_listening(struct pw_web *w)
{
	int socket;

	if (!w->listens)
		return;
	socket = pw_listener_quiesce(&w->listener);
	pw_lanes_stop(w->lanes);
	pw_listener_end(&w->listener);
	end_lanes(w);
	if (socket >= 0)
		close(socket);
	pw_listener_close(&w->listener);
	w->listens = false;
}

static void web_free(struct pw_web *w)
{
	pw_signed_free(w->sessions);
	pw_zone_free(w->zone);
	pthread_mutex_destroy(&w->lock);
	free(w);
}

static struct pw_web *web_new(struct pw_office *o, char *why, size_t size)
{
	struct pw_web *w = calloc(1, sizeof(*w));

	snprintf(why, size, "there is no memory for the pages");
	if (!w)
		return NULL;
	w->o = o;
	pthread_mutex_init(&w->lock, NULL);
	w->sessions = pw_signed_new();
	if (w->sessions && pw_zone_open(o->conf.zone, &w->zone, why, size) == 0)
		return w;
	web_free(w);
	return NULL;
}

int pw_web_start(struct pw_office *o, struct pw_web **web, char *why, size_t size)
{
	struct pw_web *w = web_new(o, why, size);
	int result = w ? begin_listening(w, why, size) : -1;

	if (result && w)
		web_free(w);
	if (result == 0)
		*web = w;
	return result;
}

int pw_web_renew(struct pw_web *w, char *why, size_t size)
{
	end_listening(w);
	return begin_listening(w, why, size);
}

void pw_web_stop(struct pw_web *w)
{
	end_listening(w);
	web_free(w);
}

uint16_t pw_web_port(const struct pw_web *w)
{
	return w->listener.port;
}

void pw_web_forget(struct pw_web *w, const char *code)
{
	pw_signed_end_of(w->sessions, code);
}
