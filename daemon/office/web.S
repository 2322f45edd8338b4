/* SPDX-License-Identifier: Apache-2.0 */
/* The files of web/office as strings, each with a closing zero. Assembled from the top folder; the pictures
   are bundled into BUILD (Makefile), which is where they are looked for. */
	.section .rodata

	.global pw_office_style
pw_office_style:
	.incbin "web/office/style.css"
	.byte 0

	.global pw_office_pictures
pw_office_pictures:
	.incbin "web/office/pictures.js"
	.byte 0

	.section .note.GNU-stack, "", %progbits
