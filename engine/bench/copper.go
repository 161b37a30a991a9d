package bench

// Zero is how far below 0 °C copper would resist nothing, kelvins. Source: relay
// application notes.
const Zero = 234.5

// At gives a resistance, or the volts a coil pulls in at, at another temperature
// (degrees Celsius): R₂ = R₁ (234.5 + T₂) / (234.5 + T₁). It is the current that
// pulls, so the volts go with the resistance. Source: relay application notes.
func At(value, celsius, other float64) float64 {
	return value * (Zero + other) / (Zero + celsius)
}

// Rise gives the temperature of a coil from its resistance: (234.5 + T₁) R₂/R₁ -
// 234.5, degrees Celsius. Source: relay application notes.
func Rise(ohms, celsius, hot float64) float64 { return (Zero+celsius)*hot/ohms - Zero }

// Parallel gives two resistances side by side.
func Parallel(a, b float64) float64 { return a * b / (a + b) }
