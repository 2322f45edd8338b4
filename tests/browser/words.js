/* SPDX-License-Identifier: Apache-2.0 */
/* What a driver should read, by language: written out here, not taken from the program. */
"use strict";

module.exports = {
	en: {
		locale: "en-US", own: "English",
		saying: "Row 7: <b>seat</b> torn & loose",
		swapped: "are they swapped?",
		parked: "Nothing owed.", driving: "Key on.", owed: "Walk to the rear now.",
		tooSoon: /^Too soon to have looked under 12 rows: (\d+) s more\.$/,
		row: /^Pace: row (\d+) of 12$/, rear: "Pace: at the rear",
		acknowledged: "Press acknowledged", again: "Look again, rear to front.",
		door: "Pace: at the door", done: "done", silent: "The watch does not answer.",
		overdue: "The sweep is overdue.",
		rearOpen: "The rear door is open: shut it, walk from the front.",
		missed: "The last sweep was missed.",
	},
	es: {
		locale: "es-MX", own: "Español",
		saying: "Fila 7: asiento roto, ¿tornillo? \"suelto\"",
		swapped: "¿están cambiados?",
		parked: "Nada pendiente.", driving: "Contacto puesto.", owed: "Camine al fondo ahora.",
		tooSoon: /^Demasiado pronto para haber mirado bajo 12 filas: (\d+)\ss más\.$/,
		row: /^Paso: fila (\d+) de 12$/, rear: "Paso: en el fondo",
		acknowledged: "Pulsación registrada", again: "Mire otra vez al volver.",
		door: "Paso: en la puerta", done: "hecha",
		silent: "La vigilancia no responde.",
		overdue: "La revisión está atrasada.",
		rearOpen: "La puerta trasera está abierta: ciérrela y camine desde el frente.",
		missed: "Faltó la última revisión.",
	},
	fr: {
		locale: "fr-CA", own: "Français",
		saying: "Rangée 7 : siège abîmé d’un côté",
		swapped: /sont-ils intervertis\s\?/,
		parked: "Aucune ronde à faire.", driving: "Contact mis.",
		owed: "Allez au fond maintenant.",
		tooSoon: /^Trop tôt pour avoir regardé sous 12 rangées\s: encore (\d+)\ss\.$/,
		row: /^Allure\s: rang (\d+) sur 12$/, rear: /^Allure\s: au fond$/,
		acknowledged: "Appui enregistré", again: "Regardez au retour.",
		door: /^Allure\s: à la porte$/, done: "faite",
		silent: "La surveillance ne répond pas.",
		overdue: "La ronde est en retard.",
		rearOpen: /^La porte arrière est ouverte\s: fermez-la et repartez de l’avant\.$/,
		missed: "La dernière ronde a été manquée.",
	},
};
