//! The words that columns are called by.
//!
//! Decides: which words are known, in English, Spanish, French, German, Portuguese and Italian, and what each says of a
//! number (all of it common practice, no source).
//! Never: holds a word that may say of a number of the weld that nobody measured it, other than among those that do.

use bandward::Channel;

/// Words of each channel, in lower case.
pub const WORDS: &[(Channel, &str)] = &[
    (
        Channel::Current,
        "current amps amp amperage i strom schweissstrom schweißstrom stromstärke stromstaerke corriente intensidad \
         amperaje courant intensité intensite ampérage corrente amperagem amperaggio intensità",
    ),
    (
        Channel::Voltage,
        "voltage volts volt u spannung lichtbogenspannung schweissspannung schweißspannung voltaje tension tensión \
         voltagem tensão tensao tensione",
    ),
    (
        Channel::Coolant,
        "coolant cooling water kühlwasser kuehlwasser kühlmittel kuehlmittel chiller refrigerante refroidissement \
         refrigeração refrigeracao raffreddamento agua água eau acqua",
    ),
    (Channel::Gas, "gas argon shielding schutzgas gasflow gasfluss gasdurchfluss gasmenge gaz gás"),
    (
        Channel::Wire,
        "wire feed feedspeed wfs wirefeed draht drahtvorschub drahtgeschwindigkeit hilo alambre fil arame filo",
    ),
    (
        Channel::Spindle,
        "spindle rotation rotator chuck encoder angle rpm drehzahl winkel spindel drehwinkel husillo giro rotación \
         rotacion broche rotação rotacao rotazione mandrino ángulo angolo ângulo",
    ),
    (
        Channel::Torch,
        "torch weave oscillator oscillation pendel brenner pendelung antorcha oscilación oscilacion torche tocha torcia \
         oscillazione oscilação oscilacao",
    ),
    (
        Channel::Work,
        "work temp temperature pyrometer temperatur interpass werkstück werkstueck temperatura température \
         pirómetro pirometro pyromètre zwischenlagentemperatur",
    ),
    (Channel::Carriage, "carriage travel traverse schlitten carro chariot carrello"),
];

/// Words of a number that nobody measured there and then: asked for, a limit, a mean, a state.
pub const NOT_READINGS: &str = "set sp sv setpoint setting settings setvalue preset preselected reference ref target soll \
    sollwert vorgabe vorwahl demand demanded command commanded cmd programmed prog nominal nom nenn rated \
    requested request desired wanted consigne consigna ajuste ajustado ajustada programado programada réglé \
    réglée impostato impostata limit limits lim grenze grenzwert \
    threshold schwelle tolerance tol min max minimum maximum lo hi low high ll hh lower upper alarm \
    warn warning warnung trip fault error err status state ok on off enable enabled flag avg average \
    mean mittel mittelwert moyenne promedio last previous prev total sum summe deviation dev \
    difference diff delta std sd peak start crater background ramp slope type id no nr number lot \
    batch name time date job program trim offset correction \
    display displayed shown anzeige angezeigt affichage affiché affiche visualización visualizacion visualizzato mostrado";
/// Words of a number that was measured there and then.
pub const MARKS_OF_READINGS: &str = "actual act ist istwert measured meas feedback fbk fb pv reading gemessen real medido medida \
    mesure mesuré mesurée misurato misurata reale effettivo effettiva réel réelle";
/// Whose reading it is, where it is not the weld's: of each channel.
pub const OTHERS: &[(&[Channel], &str)] = &[
    (
        &[Channel::Current, Channel::Voltage],
        "motor drive servo pump fan heater mains line supply primary input grid battery \
         control ocv open pilot aux spare leakage spindle rotator chuck carriage \
         oscillator weave pass layer step speed position temp temperature",
    ),
    (
        &[Channel::Work],
        "ambient room air oil motor cabinet panel transformer rectifier heatsink umgebung inlet \
         outlet angle winkel gearbox getriebe bearing bearings lager hydraulic hydraulics hydraulik",
    ),
    (
        &[Channel::Gas, Channel::Coolant],
        "valve pressure druck bar bottle cylinder level mix chuck spindle rotator carriage",
    ),
    (&[Channel::Wire], "diameter dia remaining spool used consumed length weight hot"),
    (&[Channel::Torch], "width amplitude frequency freq rate stroke dwell angle winkel speed"),
    (&[Channel::Carriage], "speed velocity rate"),
];

/// Words that leave a reading what it is, of whatever channel: where and how it is measured, articles, units.
const NEUTRAL: &str = "arc welding weld schweiss schweiß schweissen lichtbogen lb soldadura arco soudage soudure \
    saldatura solda process channel chan ch kanal analog analogue input inp ai ain value val wert messwert valor valeur \
    valore data main line units unit digits digital live instant instantaneous momentan logger log plc tag tool joint \
    d de del della delle dei di do da dos das du des la le les el los il lo the of at in der die den dem et und \
    a ma ka v mv kv l lpm lmin m mm cm in inch inches ft sec hr min cfh scfh cfm ipm mpm nl slpm c f k degc degf deg \
    degs degrees degree grad celsius fahrenheit rev r turn turns count counts cnt inc per gal gpm";
/// Units, in small letters, of the weld and of other things.
pub const UNITS: &str = "a ma ka amp amps ampere amperes v mv kv volt volts w kw va kva kvar kwh wh kj hz khz ohm mohm \
    l ml nl sl cc gal cf cfm cfh scfm scfh gpm gph lpm lph nlpm slpm sccm m mm cm dm km um µm in inch inches ft \
    s sec ms us µs min mins h hr hrs hour hours per k c f degc degf deg degs degree degrees celsius fahrenheit rad grad \
    gon rev revs turn turns tr giri u r rpm upm ipm mpm fpm mps bar mbar psi pa kpa mpa n kn nm kg lb lbs ppm pct \
    count counts cnt inc pulse pulses";
/// Those that have a square or a cube.
pub const RAISED: &str = "m mm cm dm ft in s";
/// Letters that are a unit, or a part of one, where they stand in brackets.
pub const IN_UNITS: &str = "s h k n";
/// The same of one channel alone.
const NEUTRAL_OF: &[(&[Channel], &str)] = &[
    // The welder's own coolant is not the torch's, nor its heat the joint's.
    (
        &[
            Channel::Current,
            Channel::Voltage,
            Channel::Wire,
            Channel::Torch,
            Channel::Spindle,
            Channel::Carriage,
        ],
        "welder source machine maschine",
    ),
    // A sensor has a voltage of its own.
    (
        &[
            Channel::Current,
            Channel::Gas,
            Channel::Coolant,
            Channel::Torch,
            Channel::Spindle,
            Channel::Wire,
            Channel::Work,
            Channel::Carriage,
        ],
        "signal sensor",
    ),
    (&[Channel::Current, Channel::Voltage, Channel::Gas, Channel::Coolant], "torch brenner"),
    (&[Channel::Current, Channel::Voltage], "dc"),
    // The tension of a wire is a force.
    (&[Channel::Current, Channel::Gas, Channel::Coolant], "wire"),
    (
        &[Channel::Current, Channel::Voltage, Channel::Gas, Channel::Wire, Channel::Torch, Channel::Carriage],
        "head kopf",
    ),
    (
        &[Channel::Gas, Channel::Coolant],
        "flow rate flux fluss durchfluss débit debit caudal portata vazão vazao protección proteccion protection \
         proteção schutz shield circuit kreislauf",
    ),
    (
        &[Channel::Wire],
        "speed velocity rate geschwindigkeit vorschub vitesse velocidad velocidade velocità velocita avance dévidage \
         devidage avanzamento",
    ),
    (
        &[Channel::Spindle],
        "speed velocity position pos rate n geschwindigkeit vitesse velocidad velocidade velocità posición posicion \
         pipe rohr rotary axis turning pulse pulses",
    ),
    (&[Channel::Torch], "position pos lage place weg posición posicion posizione posição axis cross lateral"),
    (
        &[Channel::Work],
        "piece workpiece surface pipe part rohr pieza pièce pezzo peça ir infrared thermocouple tc pyro",
    ),
    (&[Channel::Carriage], "position pos lage weg axial posición posicion posizione posição axis"),
];

/// Places that belong to one channel where the unit leaves several: the end of a torch that gas comes out of.
pub const HINTS: &[(Channel, &str)] = &[(
    Channel::Gas,
    "gas argon nozzle cup shield shielding schutz düse duese gasdüse buse boquilla tobera bocal ugello",
)];

/// Names that do not say of what: of the wire or the carriage, of the torch or the chuck, of the joint or the air.
pub const GENERAL: &str = "feed feedspeed water wasser agua água eau acqua cooling temp temperature temperatur temperatura \
    température angle winkel ángulo angolo ângulo rotation";
/// Words beside them that do not say it either.
pub const OF_NOTHING: &str = "flow rate speed velocity sensor value actual act measured a mm m cm in inch min l lpm gpm ipm s c f \
    degc degf deg degrees per";

/// Is a word in a list?
pub fn is_in(list: &str, word: &str) -> bool {
    list.split_ascii_whitespace().any(|known| known == word)
}

/// Is it known what a word says in the name of a column of `channel`?
pub fn is_known(word: &str, channel: Channel) -> bool {
    let of_channel = |(channels, list): &(&[Channel], &str)| channels.contains(&channel) && is_in(list, word);
    let own = WORDS.iter().any(|(of, list)| *of == channel && is_in(list, word));
    own || [NOT_READINGS, MARKS_OF_READINGS, NEUTRAL].iter().any(|list| is_in(list, word))
        || OTHERS.iter().any(of_channel)
        || NEUTRAL_OF.iter().any(of_channel)
}
