// The questions of the form, in plain words, with what each answer is to the service.

const yes = "yes", no = "no";

export const PURPOSE = { name: "purpose", text: "What is to be done?", of: [["diagnose", "Find a fault"], ["identify", "Tell a relay's terminals apart"], ["bench", "Test a relay on the bench"],
  ["choose", "Choose a relay"], ["wire", "Wire a circuit"]] };

export const FIELDS = [
  { name: "circuit.system_volts", text: "12 or 24 volts?", of: [["12", "12 volts"], ["24", "24 volts"]], number: true },
  { name: "circuit.load.kind", text: "What kind of load is it?", of: [["lamp", "Lamp"], ["motor", "Motor"], ["heater", "Heater"], ["solenoid", "Solenoid or valve"], ["electronics", "Electronics"]] },
  {
    name: "circuit.load.moves", text: "What happens when it runs?",
    of: [["still", "Nothing moves"], ["turns", "A fan, pump or other part turns"], ["starting", "The engine starts"], ["fuel", "Fuel moves"], ["lifting", "It lifts or lowers"],
      ["brakes", "It brakes or steers"], ["restraint", "An airbag or belt fires"], ["high_voltage", "It switches high voltage"]],
    values: {
      still: { "circuit.load.moves": false, "circuit.load.hazard": "none" }, turns: { "circuit.load.moves": true, "circuit.load.hazard": "none" },
      starting: { "circuit.load.moves": true, "circuit.load.hazard": "starting" }, fuel: { "circuit.load.moves": true, "circuit.load.hazard": "fuel" },
      lifting: { "circuit.load.moves": true, "circuit.load.hazard": "lifting" }, brakes: { "circuit.load.moves": true, "circuit.load.hazard": "brakes_or_steering" },
      restraint: { "circuit.load.hazard": "restraint" }, high_voltage: { "circuit.load.hazard": "high_voltage" },
    },
  },
  { name: "circuit.labels", text: "How are the relay's terminals marked?", of: [["din", "30, 85, 86, 87"], ["numbers", "1 to 5"], ["en", "A1, A2, 11, 12, 14"]] },
  { name: "circuit.contact", text: "Which has the relay: 87, 87a, or both?", hint: "4 or 12 by other marks is 87a.", of: [["make", "Only 87"], ["break", "Only 87a"], ["changeover", "Both"]] },
];

export const MORE = [
  { name: "circuit.driver", text: "What commands the coil?", of: [["switch", "A plain switch"], ["module", "A module"]] },
  { name: "circuit.control_side", text: "Which side of the coil is switched?", of: [["ground", "Its ground"], ["positive", "Its supply"]] },
  { name: "circuit.coil_supply", text: "What feeds the coil?", of: [["ignition", "The ignition"], ["battery", "The battery"], ["contact_feed", "The contact's own supply"]] },
  { name: "circuit.coil_positive", text: "Which coil terminal is nearer the supply?", of: [["86", "86"], ["85", "85"]] },
  { name: "circuit.power_enters", text: "Which contact terminal does the supply feed?", of: [["30", "30"], ["87", "87"], ["87a", "87a"]] },
  { name: "circuit.load_side", text: "Where is the load?", of: [["ground", "Between relay and ground"], ["supply", "Between supply and relay"]] },
  { name: "circuit.feed_fuse_at", text: "Where is the load's fuse?", of: [["before_relay", "Before the relay"], ["after_relay", "After the relay"]] },
  { name: "circuit.suppression", text: "What does the relay's diagram show across the coil?", of: [["none", "Nothing"], ["resistor", "A resistor"], ["diode", "A diode"]] },
  { name: "circuit.load.amps", text: "What does the load draw, if it is known?", unit: "A", number: true },
  { name: "circuit.coil_ohms", text: "What is the coil's resistance, if it is known?", unit: "Ω", number: true },
  { name: "environment.mounting", text: "Where is the relay?", of: [["cab", "In the cab"], ["engine_bay", "Under the bonnet"], ["outside", "Outside"], ["wheel_arch", "In a wheel arch"], ["underbody", "Under the vehicle"]] },
  {
    name: "environment.exposed", text: "Do water and dirt reach it?", of: [[yes, "Yes"], [no, "No"]],
    values: { yes: { "environment.exposed": true }, no: { "environment.exposed": false } },
  },
  {
    name: "relay.sealed", text: "Is the relay a sealed type?", of: [[yes, "Yes"], [no, "No"]],
    values: { yes: { "relay.sealed": true }, no: { "relay.sealed": false } },
  },
  { name: "relay.rated_amps", text: "What is the relay rated for?", unit: "A", number: true },
  { name: "relay.part", text: "The relay's part number" },
];
