package main

import (
	"bufio"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"os/signal"
	"path/filepath"
	"runtime/debug"
	"strings"
	"syscall"

	"github.com/spf13/cobra"

	"rimpair/report"
	"rimpair/report/review"
	"rimpair/report/serve"
	"rimpair/report/serve/page"
)

// serveFlags are the options of the serve command.
type serveFlags struct {
	listen, cert, key, language string
	lan, selfMade               bool
}

const servePort = "8027"

func newServeCommand() *cobra.Command {
	var flags serveFlags
	command := &cobra.Command{
		Use:   "serve [STORE]",
		Short: "Serve the pages for measuring with a phone, for the counter and for photos from afar",
		Long: `serve shows pages by which jobs are kept, photos taken with a phone are judged and
measured, and photos sent by others are reviewed. STORE is the folder of the jobs (the
current one). The pages are part of the program; no network is needed.

Only this machine is served. With --lan the local network is, too: each device then wants
a code, which is shown here, once.`,
		Example: "  rimpair serve jobs\n  rimpair serve jobs --lan --tls",
		Args:    cobra.MaximumNArgs(1),
		RunE: func(command *cobra.Command, args []string) error {
			ctx, stop := signal.NotifyContext(command.Context(), os.Interrupt, syscall.SIGTERM)
			defer stop()
			return runServe(ctx, append(args, ".")[0], flags, command.InOrStdin(), command.OutOrStdout())
		},
	}
	f := command.Flags()
	f.StringVar(&flags.listen, "listen", "", "address and port (127.0.0.1:"+servePort+"; with --lan :"+servePort+")")
	f.BoolVar(&flags.lan, "lan", false, "serve the local network, to devices that are paired by a code")
	f.StringVar(&flags.cert, "cert", "", "file of a TLS certificate")
	f.StringVar(&flags.key, "key", "", "file of its key")
	f.BoolVar(&flags.selfMade, "tls", false, "TLS with a certificate made here; its fingerprint is shown")
	f.StringVar(&flags.language, "language", "en", "language for browsers that ask for none there is: "+strings.Join(report.LanguageCodes(), " or "))
	return command
}

func runServe(ctx context.Context, store string, flags serveFlags, stdin io.Reader, stdout io.Writer) error {
	if _, err := report.NewLanguage(flags.language); err != nil {
		return err
	}
	listener, err := flags.open()
	if err != nil {
		return err
	}
	defer listener.Close()
	host, err := os.Hostname()
	if err != nil {
		return err
	}
	certificate, err := flags.certificate(host)
	if err != nil {
		return err
	}
	debug.SetMemoryLimit(serve.MemoryLimit)
	t := &serveTerminal{out: stdout}
	s, err := serve.New(serve.Options{
		Store: store, LAN: flags.lan, Names: serverNames(host, certificate), Certificate: certificate,
		Language: flags.language, Version: version, RunoutMm: defaultRunoutMm, Pages: page.FS,
		Measure: measureServed, Judge: review.Judge, Review: reviewServed, Paired: t.paired,
	})
	if err != nil {
		return err
	}
	t.url = serverURL(listener.Addr(), flags.lan, certificate != nil)
	t.begin(certificate, flags.lan)
	if flags.lan {
		t.show(s.NewCode())
		go func() { // ends with the program
			for lines := bufio.NewScanner(stdin); lines.Scan(); {
				t.show(s.NewCode())
			}
		}()
	}
	return errors.Join(s.Serve(ctx, listener), s.Close())
}

// open listens. Without --lan no other machine may reach it.
func (flags *serveFlags) open() (net.Listener, error) {
	address := flags.listen
	if address == "" {
		address = "127.0.0.1:" + servePort
		if flags.lan {
			address = ":" + servePort
		}
	}
	listener, err := net.Listen("tcp", address)
	if err != nil {
		return nil, err
	}
	if !flags.lan && !listener.Addr().(*net.TCPAddr).IP.IsLoopback() {
		listener.Close()
		return nil, fmt.Errorf("--listen %s opens to other machines: that takes --lan, which asks each device for a code", address)
	}
	return listener, nil
}

func (flags *serveFlags) certificate(host string) (*tls.Certificate, error) {
	switch {
	case (flags.cert == "") != (flags.key == ""):
		return nil, errors.New("--cert and --key go together")
	case flags.cert != "" && flags.selfMade:
		return nil, errors.New("give a certificate with --cert and --key, or --tls for one made here")
	case flags.cert != "":
		c, err := tls.LoadX509KeyPair(flags.cert, flags.key)
		return &c, err
	case flags.selfMade:
		folder, err := os.UserConfigDir()
		if err != nil {
			return nil, err
		}
		addresses, err := ownAddresses()
		if err != nil {
			return nil, err
		}
		return serve.SelfMadeCertificate(filepath.Join(folder, "rimpair", "serve"), []string{"localhost", host, host + ".local"}, addresses)
	}
	return nil, nil
}

// ownAddresses are those of this machine, but for those that only hold on one wire.
func ownAddresses() ([]net.IP, error) {
	all, err := net.InterfaceAddrs()
	if err != nil {
		return nil, err
	}
	var list []net.IP
	for _, a := range all {
		if n, ok := a.(*net.IPNet); ok && !n.IP.IsLinkLocalUnicast() {
			list = append(list, n.IP)
		}
	}
	return list, nil
}

// serverNames are those by which the server may be asked for.
func serverNames(host string, c *tls.Certificate) []string {
	names := []string{host, host + ".local"}
	if c != nil && c.Leaf != nil {
		names = append(names, c.Leaf.DNSNames...)
	}
	return names
}

// serverURL is an address that a phone reaches.
func serverURL(at net.Addr, lan, secure bool) string {
	scheme := "http"
	if secure {
		scheme = "https"
	}
	tcp := at.(*net.TCPAddr)
	host := tcp.IP
	if addresses, err := ownAddresses(); err == nil && lan && host.IsUnspecified() {
		for _, ip := range addresses {
			if ip.IsPrivate() && ip.To4() != nil {
				host = ip
				break
			}
		}
	}
	return fmt.Sprintf("%s://%s", scheme, net.JoinHostPort(host.String(), fmt.Sprint(tcp.Port)))
}

// serveTerminal is what the person at the machine sees.
type serveTerminal struct {
	out io.Writer
	url string
}

func (t *serveTerminal) begin(c *tls.Certificate, lan bool) {
	fmt.Fprintf(t.out, "Open %s in a browser. Ctrl-C ends it.\n", t.url)
	switch {
	case c != nil:
		fmt.Fprintf(t.out, "The certificate's SHA-256 fingerprint, to compare with the browser's warning:\n%s\n", serve.Fingerprint(c))
	case lan:
		fmt.Fprintln(t.out, "Without --tls everybody in this network can read along: use it in a network you trust.")
	}
}

func (t *serveTerminal) show(code string) {
	url := t.url + "/pair#" + code
	if picture, err := serve.QR(url); err == nil {
		fmt.Fprint(t.out, "\n", picture)
	}
	fmt.Fprintf(t.out, "\nScan this with the phone, or open %s/pair and type %s %s.\nThe code is good once, for ten minutes. Enter shows another one.\n", t.url, code[:4], code[4:])
}

func (t *serveTerminal) paired(client string) {
	fmt.Fprintf(t.out, "Paired with %s. Enter shows a code for another device.\n", client)
}
