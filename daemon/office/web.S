/* SPDX-License-Identifier: Apache-2.0 */
/* The files of web/office as strings, each with a closing zero. Assembled from the top folder. */
	.section .rodata

	.global pw_office_style
pw_office_style:
	.incbin "web/office/style.css"
	.byte 0

	.section .note.GNU-stack, "", %progbits
