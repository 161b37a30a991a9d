package transport

import (
	"bufio"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"runtime"
	"slices"
	"strings"
)

// Token is what a front end proves itself with. Only its hash is kept.
type Token struct {
	Name string // of the front end, which reaches its own jobs; "" = reaches all jobs
	Hash [sha256.Size]byte
}

// Tokens are the tokens a service takes; none = everyone who reaches it may use it.
type Tokens []Token

// leastToken is the length below which a token can be guessed: 26 letters of 32
// hold 128 bits.
const leastToken = 26

// NewToken makes a random token of 260 bits.
func NewToken() string { return rand.Text() + rand.Text() }

// TokenHash is what the file of ReadTokens holds of a token.
func TokenHash(token string) string {
	sum := sha256.Sum256([]byte(token))
	return hex.EncodeToString(sum[:])
}

// find looks for the token a client sent. Every one is compared, in constant time,
// so that the time taken tells nothing.
func (t Tokens) find(sent string) (found Token, ok bool) {
	sum := sha256.Sum256([]byte(sent))
	for _, token := range t {
		if subtle.ConstantTimeCompare(sum[:], token.Hash[:]) == 1 {
			found, ok = token, true
		}
	}
	return found, ok
}

// has reports whether a token is still among them.
func (t Tokens) has(token Token) bool { return slices.Contains(t, token) }

// EnsureTokenFile is ReadTokenFile; where there is no such file it makes one, readable by
// its owner only, with a random token in it.
func EnsureTokenFile(path string) (Token, error) {
	token, err := ReadTokenFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return makeTokenFile(path)
	}
	return token, err
}

// ReadTokenFile reads the token that reaches all jobs.
func ReadTokenFile(path string) (Token, error) {
	content, err := os.ReadFile(path)
	if err != nil {
		return Token{}, fmt.Errorf("the token file cannot be read: %w", err)
	}
	info, err := os.Stat(path)
	if err != nil {
		return Token{}, fmt.Errorf("the token file cannot be read: %w", err)
	}
	if runtime.GOOS != "windows" && info.Mode().Perm()&0o077 != 0 {
		return Token{}, fmt.Errorf("others can read the token in %s: make it your own with chmod 600", path)
	}
	token := strings.TrimSpace(string(content))
	if len(token) < leastToken || strings.ContainsAny(token, " \t\r\n") {
		return Token{}, fmt.Errorf("%s holds no token: it takes one word of %d letters or more; delete the file to have one made", path, leastToken)
	}
	return Token{Hash: sha256.Sum256([]byte(token))}, nil
}

func makeTokenFile(path string) (Token, error) {
	token := NewToken()
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return Token{}, fmt.Errorf("the token file cannot be made: %w", err)
	}
	_, err = f.WriteString(token + "\n")
	if err := errors.Join(err, f.Sync(), f.Close()); err != nil {
		return Token{}, errors.Join(fmt.Errorf("the token file cannot be written: %w", err), os.Remove(path))
	}
	return Token{Hash: sha256.Sum256([]byte(token))}, nil
}

// ReadTokens reads a file of front ends and the hashes of their tokens, one a
// line: NAME SHA-256-IN-HEX. Empty lines and those that start with # are passed
// over. A name may come again, with another token. All that is wrong with the file
// is in the error.
func ReadTokens(path string) (Tokens, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("the tokens cannot be read: %w", err)
	}
	defer f.Close()
	var tokens Tokens
	var problems []error
	lines := bufio.NewScanner(f)
	for n := 1; lines.Scan(); n++ {
		text := strings.TrimSpace(lines.Text())
		if text == "" || strings.HasPrefix(text, "#") {
			continue
		}
		token, err := readTokenLine(text)
		if err != nil {
			problems = append(problems, fmt.Errorf("%s:%d: %w", path, n, err))
		}
		tokens = append(tokens, token)
	}
	if err := lines.Err(); err != nil {
		problems = append(problems, fmt.Errorf("the tokens cannot be read: %w", err))
	}
	if len(tokens) == 0 && problems == nil {
		problems = append(problems, fmt.Errorf("%s holds no token", path))
	}
	return tokens, errors.Join(problems...)
}

func readTokenLine(text string) (Token, error) {
	fields := strings.Fields(text)
	if len(fields) != 2 {
		return Token{}, errors.New("a line is a name and a SHA-256 in hex; coilside token makes one")
	}
	if !ValidClient(fields[0]) {
		return Token{}, fmt.Errorf("%q is no name for a front end: it takes 1 to 40 letters, digits, - and _", fields[0])
	}
	sum, err := hex.DecodeString(fields[1])
	if err != nil || len(sum) != sha256.Size {
		return Token{}, fmt.Errorf("what follows %s is no SHA-256 in hex, of 64 digits", fields[0])
	}
	return Token{Name: fields[0], Hash: [sha256.Size]byte(sum)}, nil
}

// ValidClient reports whether name can name a front end.
func ValidClient(name string) bool {
	return len(name) >= 1 && len(name) <= 40 && strings.IndexFunc(name, func(r rune) bool {
		return (r < 'a' || r > 'z') && (r < 'A' || r > 'Z') && (r < '0' || r > '9') && r != '-' && r != '_'
	}) < 0
}
