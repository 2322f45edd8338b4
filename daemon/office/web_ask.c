/* SPDX-License-Identifier: Apache-2.0 */
/* A request by its headers and its body: what it asks, who asks, and whether its body is wanted. */
#include <sodium.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "web_internal.h"
#include "postwalk/text.h"

#define PROCESSOR_ROOM 8192

void pw_turn_refuse(struct pw_turn *t, unsigned status, enum pw_phrase why)
{
	if (t->status)
		return;
	t->status = status;
	t->why = why;
}

static const char *header(const struct pw_turn *t, const char *name)
{
	return MHD_lookup_connection_value(t->connection, MHD_HEADER_KIND, name);
}

/* -- fields ------------------------------------------------------------------------------------ */

static bool is_among(const char *names, const char *name)
{
	const size_t n = strlen(name);

	for (const char *at = names; n > 0 && (at = strstr(at, name)); at += n)
		if ((at == names || at[-1] == ' ') && (at[n] == ' ' || at[n] == '\0'))
			return true;
	return false;
}

static char *value_room(struct pw_turn *t, const char *name)
{
	struct pw_asked *q = &t->asked;

	if (q->fields == PW_ASK_FIELDS || strlen(name) >= sizeof(q->field[0].name)) {
		t->bad_value = true;
		return NULL;
	}
	snprintf(q->field[q->fields].name, sizeof(q->field[0].name), "%s", name);
	q->field[q->fields].value[0] = '\0';
	return q->field[q->fields++].value;
}

/* Lines of a text become one: what is kept and shown has one line each. */
static bool make_plain(char *value)
{
	const size_t length = strlen(value);

	for (size_t i = 0, n; i < length; i += n) {
		n = pw_utf8_sequence((const unsigned char *)value + i, length - i);
		if (n == 0)
			return false;
		if (strchr("\r\n\t", value[i]))
			value[i] = ' ';
		if ((unsigned char)value[i] < 0x20 || value[i] == 0x7f)
			return false;
	}
	return true;
}

/* -- the address ------------------------------------------------------------------------------- */

static void take_as(struct pw_turn *t, const char *value)
{
	static const struct { const char *name; enum pw_as as; } ways[] = {
		{ "csv", PW_AS_CSV }, { "lines", PW_AS_LINES }, { "print", PW_AS_PRINT },
	};

	for (size_t i = 0; i < sizeof(ways) / sizeof(ways[0]); i++)
		if (strcmp(value, ways[i].name) == 0) {
			t->as = ways[i].as;
			t->asked.whole = t->as != PW_AS_PRINT;
			return;
		}
	t->bad_value = true;
}

static void take_tongue(struct pw_turn *t, const char *value)
{
	const enum pw_tongue tongue = pw_tongue_find(value, strlen(value));

	if (tongue)
		t->asked.tongue = tongue;
	t->is_tongue = tongue != PW_TONGUE_NONE;
	t->bad_value |= !t->is_tongue;
}

static enum MHD_Result take_argument(void *cls, enum MHD_ValueKind kind, const char *name,
				     const char *value)
{
	struct pw_turn *t = cls;
	char *room;

	(void)kind;
	value = value ? value : "";
	if (strcmp(name, "as") == 0) {
		take_as(t, value);
	} else if (strcmp(name, "tongue") == 0) {
		take_tongue(t, value);
	} else if (strcmp(name, "table") == 0) {
		snprintf(t->table, sizeof(t->table), "%s", value);
	} else if (!is_among(t->asked.leaf->asks, name)) {
		t->bad_value = true;
	} else if (value[0]) {
		t->long_value |= strlen(value) >= PW_ASK_VALUE;
		room = value_room(t, name);
		if (room)
			snprintf(room, PW_ASK_VALUE, "%s", value);
		t->bad_value |= room && !make_plain(room);
	}
	return MHD_YES;
}

/* RFC 3986 2.3: the rest is escaped. */
void pw_web_escape(char *to, size_t size, const char *text)
{
	size_t n = strlen(to);

	for (; *text && n + 4 < size; text++) {
		const unsigned char c = (unsigned char)*text;

		if ((c >= '0' && c <= '9') || (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') ||
		    strchr("-._~", c))
			to[n++] = (char)c;
		else
			n += (size_t)snprintf(to + n, size - n, "%%%02X", c);
	}
	to[n] = '\0';
}

/* As it is found again: without how it was to be written, and in which language. */
static void note_where(struct pw_turn *t)
{
	const struct pw_asked *q = &t->asked;
	size_t n = (size_t)snprintf(t->where, sizeof(t->where), "%s", q->leaf->path);

	for (unsigned i = 0; i < q->fields && n + 600 < sizeof(t->where); i++) {
		snprintf(t->where + n, sizeof(t->where) - n, "%c%s=", i ? '&' : '?',
			 q->field[i].name);
		pw_web_escape(t->where, sizeof(t->where), q->field[i].value);
		n = strlen(t->where);
	}
}

/* -- who asks ---------------------------------------------------------------------------------- */

static const char *cookie_name(const struct pw_turn *t)
{
	return t->web->listener.certificate ? "__Host-postwalk" : "postwalk";
}

static void take_who(struct pw_turn *t)
{
	const char *id =
		MHD_lookup_connection_value(t->connection, MHD_COOKIE_KIND, cookie_name(t));
	const char *given = header(t, "Authorization");

	if (given && strncasecmp(given, "Bearer ", 7) == 0) {
		pw_token_hash(given + 7 + strspn(given + 7, " "), t->bearer);
		return;
	}
	t->id_is_new = !id || !pw_hex_text(id, PW_SESSION_ID - 1);
	if (t->id_is_new)
		pw_signed_draw(t->id);
	else
		memcpy(t->id, id, sizeof(t->id));
	t->signed_in = !t->id_is_new &&
		       pw_signed_find(t->web->sessions, t->id, pw_since_boot_ms(), &t->session);
	if (!t->signed_in)
		return;
	memcpy(t->asked.who, t->session.code, sizeof(t->asked.who));
	t->asked.role = t->session.role;
}

static void take_language(struct pw_turn *t)
{
	const char *chosen =
		MHD_lookup_connection_value(t->connection, MHD_COOKIE_KIND, "postwalk-tongue");

	t->asked.tongue = chosen ? pw_tongue_find(chosen, strlen(chosen)) : PW_TONGUE_NONE;
	if (!t->asked.tongue)
		t->asked.tongue = pw_tongue_accept(header(t, "Accept-Language"));
}

/* The Fetch standard: a browser says whose page sent the form. Another program need not. */
static bool of_this_page(const struct pw_turn *t)
{
	const char *origin = header(t, "Origin"), *host = header(t, "Host");
	const char *scheme = t->web->listener.certificate ? "https://" : "http://";

	return !origin || (host && strncasecmp(origin, scheme, strlen(scheme)) == 0 &&
			   strcasecmp(origin + strlen(scheme), host) == 0);
}

/* -- its body ---------------------------------------------------------------------------------- */

static bool make_room(struct pw_turn *t)
{
	const size_t room = t->room ? t->room * 2 : 65536, more = room - t->room;
	char *file;

	if (atomic_fetch_add(&t->web->held, more) + more > PW_WEB_FILES_MAX) {
		atomic_fetch_sub(&t->web->held, more);
		pw_turn_refuse(t, 503, PW_P_WEB_BUSY);
		return false;
	}
	t->held += more;
	file = realloc(t->file, room);
	if (!file)
		return false;
	t->file = file;
	t->room = room;
	return true;
}

static bool take_file(struct pw_turn *t, const char *name, const char *data, size_t size)
{
	struct pw_asked *q = &t->asked;

	if (q->file_length + size + 1 > t->room && !make_room(t))
		return false;
	memcpy(t->file + q->file_length, data, size);
	q->file_length += size;
	t->file[q->file_length] = '\0';
	q->file = t->file;
	snprintf(q->file_name, sizeof(q->file_name), "%s", name);
	t->bad_value |= !make_plain(q->file_name);
	return true;
}

static void take_value(struct pw_turn *t, const char *name, const char *data, uint64_t off,
		       size_t size)
{
	const bool is_token = strcmp(name, "token") == 0;
	const size_t most = is_token ? sizeof(t->token) : PW_ASK_VALUE;
	struct pw_asked *q = &t->asked;
	char *room = is_token ? t->token : NULL;

	if (!is_token && !is_among(q->leaf->sends, name)) {
		t->bad_value = true;
		return;
	}
	if (!is_token)
		room = off > 0 && q->fields > 0 ? q->field[q->fields - 1].value
						: value_room(t, name);
	if (!room)
		return;
	if (off + size >= most || memchr(data, '\0', size)) {
		t->long_value = true;
		return;
	}
	memcpy(room + off, data, size);
	room[off + size] = '\0';
}

static enum MHD_Result take_field(void *cls, enum MHD_ValueKind kind, const char *name,
				  const char *file, const char *type, const char *coding,
				  const char *data, uint64_t off, size_t size)
{
	struct pw_turn *t = cls;

	(void)kind, (void)type, (void)coding;
	if (!name)
		return MHD_YES;
	if (file && !is_among(t->asked.leaf->sends, name))
		t->bad_value = true;
	else if (file && file[0])
		return take_file(t, file, data, size) ? MHD_YES : MHD_NO;
	else if (!file)
		take_value(t, name, data, off, size);
	return MHD_YES;
}

static bool is_type(const char *type, const char *name)
{
	const size_t n = type ? strcspn(type, "; \t") : 0;

	return n == strlen(name) && strncasecmp(type, name, n) == 0;
}

static void begin_body(struct pw_turn *t)
{
	const char *type = header(t, "Content-Type"), *length = header(t, "Content-Length");
	const bool files = is_type(type, "multipart/form-data");

	t->most = files ? PW_WEB_FILE_MAX : PW_WEB_FORM_MAX;
	if (!files && !is_type(type, "application/x-www-form-urlencoded"))
		pw_turn_refuse(t, 415, PW_P_WEB_BAD);
	else if (!length || strspn(length, "0123456789") != strlen(length) ||
		 header(t, "Transfer-Encoding"))
		pw_turn_refuse(t, 411, PW_P_WEB_BAD);
	else if (strlen(length) > 9 || strtoul(length, NULL, 10) > t->most)
		pw_turn_refuse(t, 413, PW_P_WEB_LARGE);
	if (t->status)
		return;
	t->processor = MHD_create_post_processor(t->connection, PROCESSOR_ROOM, take_field, t);
	if (!t->processor)
		pw_turn_refuse(t, 415, PW_P_WEB_BAD);
}

/* Some of what nobody wants is read, so that the answer is heard. */
bool pw_turn_piece(struct pw_turn *t, const char *piece, size_t size)
{
	t->got += size;
	if (t->processor && !t->status && t->got <= t->most &&
	    MHD_post_process(t->processor, piece, size) != MHD_YES)
		pw_turn_refuse(t, 400, PW_P_WEB_BAD);
	return t->got <= (t->status ? PW_WEB_FORM_MAX * 16 : t->most);
}

void pw_turn_whole(struct pw_turn *t)
{
	struct pw_asked *q = &t->asked;

	if (t->processor && MHD_destroy_post_processor(t->processor) != MHD_YES)
		pw_turn_refuse(t, 400, PW_P_WEB_BAD);
	t->processor = NULL;
	for (unsigned i = 0; i < q->fields && t->post; i++)
		t->bad_value |= !make_plain(q->field[i].value);
	if (t->long_value)
		pw_turn_refuse(t, 400, PW_P_WEB_LONG);
	if (t->bad_value)
		pw_turn_refuse(t, 400, PW_P_WEB_BAD);
	if (t->post && !t->status &&
	    !pw_form_token_holds(t->web->sessions, t->id, q->leaf->path, t->token))
		pw_turn_refuse(t, 403, PW_P_WEB_OLD_FORM);
}

/* -- the whole --------------------------------------------------------------------------------- */

/* A form: before its body is read. */
static void judge_form(struct pw_turn *t)
{
	const struct pw_leaf *leaf = t->asked.leaf;

	if (!leaf->post)
		pw_turn_refuse(t, 405, PW_P_WEB_BAD);
	else if (t->bearer[0])
		pw_turn_refuse(t, 403, PW_P_WEB_SEE_ONLY);
	else if (!of_this_page(t))
		pw_turn_refuse(t, 403, PW_P_WEB_OLD_FORM);
	else if (!t->signed_in && leaf->act > PW_MAY_NOTHING)
		pw_turn_refuse(t, 403, PW_P_WEB_SIGNED_OUT);
	else if (t->asked.role < leaf->act ||
		 (t->session.must_change && leaf->post != pw_password_post &&
		  leaf->post != pw_sign_out_post))
		pw_turn_refuse(t, 403, PW_P_WEB_MAY_NOT);
	else
		begin_body(t);
}

bool pw_turn_begin(struct pw_turn *t, const char *url, const char *method)
{
	struct pw_asked *q = &t->asked;

	t->fd = -1;
	t->post = strcmp(method, "POST") == 0;
	q->o = t->web->o;
	q->zone = t->web->zone;
	q->now_ms = pw_office_now_ms();
	q->today = pw_hours_day(q->now_ms);
	pw_listener_address(t->connection, t->address);
	take_who(t);
	take_language(t);
	q->leaf = pw_leaf_at(url);
	if (!q->leaf)
		pw_turn_refuse(t, 404, PW_P_WEB_NO_PAGE);
	else if (!t->post && strcmp(method, "GET") != 0 && strcmp(method, "HEAD") != 0)
		pw_turn_refuse(t, 405, PW_P_WEB_BAD);
	if (t->status)
		return false;
	MHD_get_connection_values(t->connection, MHD_GET_ARGUMENT_KIND, take_argument, t);
	note_where(t);
	if (t->post)
		judge_form(t);
	return t->status == 0;
}

void pw_turn_free(struct pw_turn *t)
{
	if (t->processor)
		MHD_destroy_post_processor(t->processor);
	atomic_fetch_sub(&t->web->held, t->held);
	free(t->file);
	free(t->text);
	sodium_memzero(t, sizeof(*t)); /* a password may be in it */
	free(t);
}
