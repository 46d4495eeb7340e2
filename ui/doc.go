// Package ui is what people see: pages rendered on the server, forms, the
// event stream that keeps pages current, and the worker that shows notices. It
// is the one package that imports echo, and nothing that it exports names an
// echo type.
//
// Handlers unpack a request, call a plain method, and pack its answer. They
// read a room's published snapshot, never the store.
package ui
