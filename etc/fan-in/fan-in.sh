#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# Brings what the offices of several districts keep into one database of the state: PostgreSQL's logical
# replication (docs/store.md). Each office goes on by itself; the state only reads. A bus belongs to one
# district: two with the same id cannot be brought together.
#
#	fan-in.sh district DISTRICT [without BUS...] in a district, once: lets the state read it
#	fan-in.sh join     STATE NAME DISTRICT       in the state, once for each district
#	fan-in.sh again    STATE NAME DISTRICT       all of it anew: after the district gave up waiting for
#	                                             the state, or has other buses that it goes without
#	fan-in.sh leave    STATE NAME                no more from there; what came stays
#	fan-in.sh show     STATE                     how far each of them is
#
# DISTRICT and STATE are connection strings (postgresql://USER@HOST/DATABASE) of databases in which
# postwalk-office has made its tables. `district`, `join`, `again` and `leave` need a superuser there. For
# join and again, DISTRICT is as the role postwalk_state, reachable from the state's server; its password
# comes from STATE_PASSWORD, for `district` as well. NAME is of a-z, 0-9 and _.
#
# Run again, each of them does no harm. Status 2: wrong use. 1: it cannot be so, told in one sentence.

set -eu

# What is only ever added, and what moves. Tokens and codes stay in the district, and so does its log.
added='record seal sweep heard'
moving='branch standing matter'
bus_columns='(bus, key, enrolled_ms, heard_ms)'
no_tables='has no tables of postwalk-office: start it once with store = that database'

fail()
{
	echo "fan-in: $*" >&2
	exit 1
}

usage()
{
	sed -n 's/^#\t\(fan-in.sh .*\|  *the state, .*\)/\1/p' "$0" >&2
	exit 2
}

# $1: connection string; the rest: psql's. Statements on standard input.
run()
{
	where=$1
	shift
	PGOPTIONS="${PGOPTIONS:-} -c client_min_messages=warning" \
		psql -X -q -A -t -v ON_ERROR_STOP=1 "$@" "$where"
}

ask()
{
	echo "$2" | run "$1"
}

need_password()
{
	[ -n "${STATE_PASSWORD:-}" ] ||
		fail "the password of postwalk_state was expected in STATE_PASSWORD"
}

# The tables in $2..., each with $1 behind it, as a list.
each()
{
	behind=$1
	shift
	list=
	for table; do
		list="$list${list:+, }postwalk.$table $behind"
	done
	echo "$list"
}

# $1: a condition for the buses named by the rest; nothing where there are none.
without()
{
	list=
	for bus; do
		case $bus in
		*[!A-Za-z0-9._-]* | '') fail "a bus id of A-Z a-z 0-9 . _ - was expected, not \"$bus\"" ;;
		esac
		list="$list${list:+, }'$bus'"
	done
	[ -z "$list" ] || echo "WHERE (bus NOT IN ($list))"
}

# A slot that waits for an absent state keeps the district's log until max_slot_wal_keep_size.
district()
{
	need_password
	is_so=$(ask "$1" "SELECT to_regclass('postwalk.audit_buses') IS NOT NULL,
		current_setting('wal_level') = 'logical', current_setting('max_slot_wal_keep_size') <> '-1'")
	case $is_so in
	f*) fail "the district $no_tables" ;;
	t\|f*) fail "the district has another wal_level: ALTER SYSTEM SET wal_level = logical, then restart it" ;;
	t\|t\|f) fail "an absent state could fill the district's disk: ALTER SYSTEM SET max_slot_wal_keep_size to" \
		"what may be spared, then SELECT pg_reload_conf()" ;;
	esac
	database=$1
	shift
	filter=$(without "$@")
	# shellcheck disable=SC2086 # words are wanted
	run "$database" <<-SQL || fail "the district is as it was"
		\getenv password STATE_PASSWORD
		BEGIN;
		SELECT 'CREATE ROLE postwalk_state' WHERE NOT EXISTS
			(SELECT FROM pg_roles WHERE rolname = 'postwalk_state') \gexec
		ALTER ROLE postwalk_state LOGIN REPLICATION PASSWORD :'password';
		SELECT format('GRANT CONNECT ON DATABASE %I TO postwalk_state', current_database()) \gexec
		GRANT USAGE ON SCHEMA postwalk TO postwalk_state;
		GRANT SELECT ON $(each '' $added $moving) TO postwalk_state;
		GRANT SELECT $bus_columns ON postwalk.bus TO postwalk_state;
		SELECT format('CREATE PUBLICATION %I', name) FROM (VALUES ('postwalk_added'), ('postwalk_moving')) x (name)
			WHERE NOT EXISTS (SELECT FROM pg_publication WHERE pubname = name) \gexec
		ALTER PUBLICATION postwalk_added SET (publish = 'insert', publish_via_partition_root = true);
		ALTER PUBLICATION postwalk_added SET TABLE $(each "$filter" $added);
		ALTER PUBLICATION postwalk_moving SET (publish = 'insert, update, delete');
		ALTER PUBLICATION postwalk_moving SET TABLE postwalk.bus $bus_columns $filter, $(each "$filter" $moving);
		COMMIT;
	SQL
}

# The buses that a district lets the state have, as a list of literals; '' when there is none.
buses_of()
{
	PGPASSWORD=$STATE_PASSWORD run "$1" <<-SQL
		SELECT format('SELECT coalesce(string_agg(quote_literal(bus), %L), %L) FROM postwalk.bus WHERE %s',
			', ', '''''', coalesce(rowfilter, 'true')) FROM pg_publication_tables
			WHERE pubname = 'postwalk_moving' AND schemaname = 'postwalk' AND tablename = 'bus' \gexec
	SQL
}

name_of()
{
	case $1 in
	*[!a-z0-9_]* | '') fail "a name of a-z, 0-9 and _ was expected, not \"$1\"" ;;
	esac
	echo "postwalk_$1"
}

is_joined()
{
	[ "$(ask "$1" "SELECT count(*) FROM pg_subscription WHERE subname = '$2'")" = 1 ]
}

# $1: state; $2: subscription; $3: district. Each byte of the password as a URI may have it.
subscribe()
{
	run "$1" -v from="$3" <<-SQL || fail "the state could not join that district"
		\getenv password STATE_PASSWORD
		SELECT format('CREATE SUBSCRIPTION $2 CONNECTION %L PUBLICATION postwalk_added, postwalk_moving',
			:'from' || CASE WHEN :'from' LIKE '%?%' THEN '&' ELSE '?' END || 'password=' ||
			string_agg('%' || encode(substr(b, i, 1), 'hex'), '' ORDER BY i))
			FROM convert_to(:'password', 'UTF8') b, generate_series(1, length(b)) i
		\gexec
	SQL
}

need_uri()
{
	case $1 in
	postgresql://*) ;;
	*) fail "a district as postgresql://... was expected, not \"$1\"" ;;
	esac
}

join_state()
{
	need_password
	name=$(name_of "$2")
	need_uri "$3"
	is_so=$(ask "$1" "SELECT to_regclass('postwalk.audit_buses') IS NOT NULL,
		EXISTS (SELECT FROM pg_subscription WHERE subname = '$name')")
	case $is_so in
	f*) fail "the state $no_tables" ;;
	t\|t)
		ask "$1" "ALTER SUBSCRIPTION $name REFRESH PUBLICATION"
		return
		;;
	esac
	buses=$(buses_of "$3")
	[ -n "$buses" ] || fail "the district lets nobody read it yet: fan-in.sh district"
	there=$(ask "$1" "SELECT min(bus) FROM postwalk.bus WHERE bus IN ($buses)")
	[ -z "$there" ] || fail "the state has a bus $there already: one bus belongs to one district"
	subscribe "$1" "$name" "$3"
}

# Where the district cannot be asked, its slot is left there: it would keep the district's log.
leave()
{
	name=$(name_of "$2")
	is_joined "$1" "$name" || fail "the state has nothing from $2"
	if ! ask "$1" "DROP SUBSCRIPTION $name" 2>/dev/null; then
		ask "$1" "ALTER SUBSCRIPTION $name DISABLE; ALTER SUBSCRIPTION $name SET (slot_name = NONE)"
		ask "$1" "DROP SUBSCRIPTION $name"
		echo "fan-in: if it is still there, have the district SELECT pg_drop_replication_slot('$name')" >&2
	fi
}

# No other district may have one of these buses: its rows would go. $1: state; $2: subscription; $3: buses.
need_ours()
{
	ask "$1" "SELECT subconninfo FROM pg_subscription WHERE subname LIKE 'postwalk\_%' AND subname <> '$2'" |
		while read -r other; do
			there=$(ask "$other" "SELECT min(bus) FROM postwalk.bus WHERE bus IN ($3)") ||
				fail "every district has to be asked whether it has one of these buses"
			[ -z "$there" ] || fail "another district has a bus $there: one bus belongs to one district"
		done
}

# All of that district is fetched anew. Rows are only ever added, unless a superuser says otherwise.
again()
{
	need_password
	name=$(name_of "$2")
	need_uri "$3"
	buses=$(buses_of "$3")
	[ -n "$buses" ] || fail "the district lets nobody read it yet: fan-in.sh district"
	need_ours "$1" "$name" "$buses"
	! is_joined "$1" "$name" || leave "$1" "$2"
	PGPASSWORD=$STATE_PASSWORD ask "$3" "SELECT pg_drop_replication_slot(slot_name) FROM pg_replication_slots
		WHERE slot_name = '$name' AND NOT active" >/dev/null
	run "$1" <<-SQL || fail "the state is as it was, and has left that district"
		BEGIN;
		SET LOCAL session_replication_role = replica;
		DELETE FROM postwalk.record WHERE bus IN ($buses);
		DELETE FROM postwalk.seal WHERE bus IN ($buses);
		DELETE FROM postwalk.sweep WHERE bus IN ($buses);
		DELETE FROM postwalk.heard WHERE bus IN ($buses);
		DELETE FROM postwalk.branch WHERE bus IN ($buses);
		DELETE FROM postwalk.standing WHERE bus IN ($buses);
		DELETE FROM postwalk.matter WHERE bus IN ($buses);
		DELETE FROM postwalk.bus WHERE bus IN ($buses);
		COMMIT;
	SQL
	subscribe "$1" "$name" "$3"
}

show()
{
	run "$1" -F '	' <<-SQL
		SELECT 'district', 'state', 'tables to come', 'last heard of', 'errors';
		SELECT substr(s.subname, 10), CASE WHEN a.pid IS NULL THEN 'not connected' ELSE 'connected' END,
			(SELECT count(*) FROM pg_subscription_rel r WHERE r.srsubid = s.oid
				AND r.srsubstate NOT IN ('r', 's')),
			to_char(a.latest_end_time, 'YYYY-MM-DD HH24:MI:SS'), e.apply_error_count + e.sync_error_count
			FROM pg_subscription s
			LEFT JOIN pg_stat_subscription a ON a.subid = s.oid AND a.relid IS NULL
			LEFT JOIN pg_stat_subscription_stats e ON e.subid = s.oid
			WHERE s.subname LIKE 'postwalk\\_%' ORDER BY 1;
	SQL
}

case ${1:-}/$#/${3:-} in
district/2/) district "$2" ;;
district/[4-9]*/without | district/[1-9][0-9]*/without)
	shift
	database=$1
	shift 2
	district "$database" "$@"
	;;
join/4/*) join_state "$2" "$3" "$4" ;;
again/4/*) again "$2" "$3" "$4" ;;
leave/3/*) leave "$2" "$3" ;;
show/2/) show "$2" ;;
*) usage ;;
esac
