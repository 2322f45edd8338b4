/* SPDX-License-Identifier: Apache-2.0 */
/* HTTP and HTTPS for the buses: requests, and its life. */
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "server_internal.h"

#define THREADS 2

/* -- requests ---------------------------------------------------------------------------------- */

static void request_free(struct pw_request *r)
{
	pw_let_go(r);
	if (r->entered)
		pw_roll_leave(r->server->o->roll, r->bus);
	pw_batch_free(r->batch);
	json_decref(r->heads);
	free(r->body);
	free(r);
}

static void request_ends(void *cls, struct MHD_Connection *c, void **of_request,
			 enum MHD_RequestTerminationCode code)
{
	struct pw_server *s = cls;

	(void)code;
	if (*of_request)
		request_free(*of_request);
	*of_request = NULL;
	pw_listener_deadline(&s->listener, c, s->listener.headers_ms);
}

static enum MHD_Result begin(struct pw_server *s, struct MHD_Connection *c, const char *url,
			     const char *method, const char *version, void **of_request)
{
	struct pw_request *r = calloc(1, sizeof(*r));

	if (!r)
		return MHD_NO;
	*of_request = r; /* request_ends frees it */
	r->server = s;
	r->connection = c;
	if (!pw_request_begin(r, url, method, version))
		return pw_answer_wrong(r);
	pw_listener_deadline(&s->listener, c, s->listener.request_ms);
	return MHD_YES;
}

static void take_piece(struct pw_request *r, const char *piece, size_t *size)
{
	if (r->body && r->got + *size <= r->length) {
		memcpy(r->body + r->got, piece, *size);
		r->got += *size;
	}
	*size = 0;
}

/* Called with the headers, with each piece of a body, when the request is whole, and when the desk
 * is done with it. */
static enum MHD_Result answer(void *cls, struct MHD_Connection *c, const char *url,
			      const char *method, const char *version, const char *upload,
			      size_t *upload_size, void **of_request)
{
	struct pw_request *r = *of_request;
	struct pw_server *s = cls;

	if (!r)
		return begin(s, c, url, method, version, of_request);
	if (*upload_size) {
		take_piece(r, upload, upload_size);
		return MHD_YES;
	}
	pw_listener_deadline(&s->listener, c, r->posted ? s->listener.headers_ms : INT64_MAX);
	if (pw_request_act(r))
		return MHD_YES;
	pw_listener_deadline(&s->listener, c, s->listener.headers_ms);
	return pw_request_answer(r);
}

/* -- its life ---------------------------------------------------------------------------------- */

static struct pw_server *server_new(struct pw_office *o)
{
	struct pw_server *s = calloc(1, sizeof(*s));

	if (!s)
		return NULL;
	s->o = o;
	s->listener.headers_ms = PW_HEADERS_MS;
	s->listener.request_ms = PW_REQUEST_MS;
	pthread_mutex_init(&s->lock, NULL);
	pthread_cond_init(&s->news, NULL);
	return s;
}

static void server_free(struct pw_server *s)
{
	pw_listener_close(&s->listener);
	pthread_mutex_destroy(&s->lock);
	pthread_cond_destroy(&s->news);
	free(s);
}

int pw_server_start(struct pw_office *o, struct pw_server **server, char *why, size_t size)
{
	struct pw_server *s = server_new(o);
	const struct pw_serving as = { .answer = answer, .ends = request_ends, .cls = s,
				       .threads = THREADS, .connections = PW_CONNECTIONS_MAX,
				       .an_address = PW_CONNECTIONS_AN_ADDRESS };
	int result;

	if (!s) {
		snprintf(why, size, "there is no memory for the server");
		return -1;
	}
	result = pw_listener_open(&s->listener, "listen", o->conf.listen, &o->conf, why, size);
	if (result == 0)
		result = pw_listener_serve(&s->listener, &as, &o->conf, why, size);
	if (result)
		server_free(s);
	else
		*server = s;
	return result;
}

/* No new connections; what is at the desk comes back before the library is asked to end. */
void pw_server_stop(struct pw_server *s)
{
	int socket = pw_listener_quiesce(&s->listener);

	pthread_mutex_lock(&s->lock);
	s->stopping = true;
	while (s->posted > 0)
		pthread_cond_wait(&s->news, &s->lock);
	pthread_mutex_unlock(&s->lock);
	pw_listener_end(&s->listener);
	if (socket >= 0)
		close(socket);
	server_free(s);
}

uint16_t pw_server_port(const struct pw_server *s)
{
	return s->listener.port;
}
