/* SPDX-License-Identifier: Apache-2.0 */
/* The migrations as strings, each with a closing zero. Assembled from the top folder. */
	.section .rodata

	.global pw_sqlite_1
pw_sqlite_1:
	.incbin "daemon/office/schema/sqlite-1.sql"
	.byte 0

	.global pw_sqlite_2
pw_sqlite_2:
	.incbin "daemon/office/schema/sqlite-2.sql"
	.byte 0

	.global pw_sqlite_3
pw_sqlite_3:
	.incbin "daemon/office/schema/sqlite-3.sql"
	.byte 0

	.global pw_pgsql_1
pw_pgsql_1:
	.incbin "daemon/office/schema/pgsql-1.sql"
	.byte 0

	.global pw_pgsql_2
pw_pgsql_2:
	.incbin "daemon/office/schema/pgsql-2.sql"
	.byte 0

	.global pw_pgsql_3
pw_pgsql_3:
	.incbin "daemon/office/schema/pgsql-3.sql"
	.byte 0

	.section .note.GNU-stack, "", %progbits
