package measure

// Message is something that a person is to be told. It is worded where people are
// written to, in whatever language: here stand only what is said and the figures in it.
type Message struct {
	Code   string `json:"code,omitempty"`
	Params Params `json:"params,omitempty"`
}

// Params are a message's figures and names; "left" and "right" are sides.
type Params map[string]any // numbers and strings
