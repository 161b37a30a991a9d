module coilside

go 1.26.8

require (
	github.com/expr-lang/expr v1.17.8 // indirect
	github.com/go-json-experiment/json v1.27.2 // indirect
	github.com/gorilla/websocket v1.5.3 // indirect
	github.com/mattn/go-colorable v0.1.14 // indirect
	github.com/mattn/go-isatty v0.0.20 // indirect
	github.com/rogpeppe/go-internal v1.16.0 // indirect
	github.com/rs/zerolog v1.35.1 // indirect
	github.com/stretchr/testify v1.12.1 // indirect
	go.yaml.in/yaml/v3 v3.0.6 // indirect
	golang.org/x/sys v0.29.0 // indirect
	golang.org/x/tools v0.26.0 // indirect
)
