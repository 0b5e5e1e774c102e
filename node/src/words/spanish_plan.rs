//! Spanish plan: the words around a plan's own text, in Spanish.
//! Owns: the words.   Gives: `PLAN`.
//! May use: plan labels.   Never: the plan's own text.

use super::plan_labels::PlanLabels;

/// Spanish.
pub(super) static PLAN: PlanLabels = PlanLabels {
    stop_anyone: "Cualquiera para el trabajo, en todo momento, con la voz, una señal de mano o el dispositivo. La voz y las señales de mano paran primero.",
    stop_reach: "En los dispositivos un alto es un viaje por radio; haga lo que haga la radio, ningún dispositivo dice PROCEDA más de {device} s después de pulsarlo, y ninguna pantalla más de unos {page} s.",
    stop_proceed: "PROCEDA solo dice que el registro tiene lo que pide este paso. No dice que el trabajo sea seguro.",
    stop_resume: "Para reanudar: todos han oído el alto, el supervisor pregunta y nombra la causa, y están de acuerdo quien paró y cada {who}. Un no termina la pregunta. Ni voto, ni plazo, ni rango.",
    stop_every: " y cada ",
    condition: "{title} ({who}): {how}; vale {span}",
    by_presence: "cada acto la renueva",
    by_measure: "medida, {limit}",
    by_none_seen: "ninguno visto; uno visto empieza el tiempo de nuevo",
    by_order: "en vigor en cada terminal, repetida",
    by_word: "alguien dice que es así",
    stable: "{span} dentro de los límites antes de reanudar",
    covers: "{n} pasos, de {first} a {last}",
    each_day: "de nuevo cada día",
    each_shift: "de nuevo cada turno",
    load: "carga",
    test_every: "ensayo cada {months} meses, el último {tested}",
    not_given: "no dado",
    daily: "limpiado y revisado cada día",
    not_counted: "no se cuenta",
    check: "“{text}”: {who}",
    and: " y ",
    or: " o ",
    everyone: "todos",
    each_of: "cada {role}",
    second_look: "segunda mirada: {first}, luego {second} sin ver la primera",
    read_back: "repetición: {first} informa, {second} repite",
    measured: "medido contra {limit}",
    answers: "{answers}; vale: {good}",
    identity: "estructura, circuito y fase como se leen",
    in_words: "en palabras",
    tally: "{what}: salidos y vueltos",
    heads: "por recuento de personas",
    order_in_effect: "orden en vigor",
    order_released: "orden liberada",
};
