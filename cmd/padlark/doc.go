// Command padlark is an offline ground station for people who build and fly
// their own water rockets and small hobby rockets.
//
// This folder holds the commands, one file each, and nothing that computes:
// main reads the command line, a command asks package config for the
// configuration and package station for the running line, and prints. It may
// import everything of ours; nothing imports it.
package main
